"""Jobs in processes of this machine.

A process that is killed fails its own pair alone: the pool (Pebble) replaces it and goes on, where
the standard library's pool would give up all that is waiting.
"""

import os
import threading
import time
from collections import deque
from collections.abc import Iterator, Sequence
from concurrent.futures import FIRST_COMPLETED, Future, wait
from dataclasses import dataclass, field
from multiprocessing import get_context

from pebble import ProcessExpired, ProcessPool

from blendkit.batch.memory import PARENT_BYTES
from blendkit.batch.records import Job, Outcome, Work, failed

_THREADS = ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS", "NUMBA_NUM_THREADS")
_TASKS_A_PROCESS = 8
"""Then it is replaced, so that memory that the allocator kept is given back."""

_LOOK_S = 0.3


@dataclass(slots=True)
class Local:
    """Runs jobs in `processes` processes that together stay under limit_bytes by estimate."""

    work: Work
    processes: int
    limit_bytes: int
    needs: dict[str, int]
    threads: int = 0
    _running: dict[Future[Outcome], Job] = field(default_factory=dict)

    def run(self, jobs: Sequence[Job]) -> Iterator[Outcome]:
        """Yield an outcome for every job, in the order in which they end.

        Whatever ends the iteration early, such as Ctrl-C, ends the processes.
        """
        waiting = deque(jobs)
        pool = self._pool()
        try:
            while waiting or self._running:
                while waiting and self._fits(waiting[0]):
                    job = waiting.popleft()
                    self._running[pool.schedule(self.work, args=[job])] = job
                if not self._running:
                    yield failed(waiting[0], self._too_large(waiting.popleft()))
                    continue
                done, _ = wait(self._running, return_when=FIRST_COMPLETED)
                for future in done:
                    yield _outcome(future, self._running.pop(future))
            pool.close()
        finally:
            pool.stop()
            pool.join()

    def _pool(self) -> ProcessPool:
        threads = self.threads or max(1, (os.cpu_count() or 1) // self.processes)
        with _environment(dict.fromkeys(_THREADS, str(threads))):
            return ProcessPool(
                max_workers=self.processes,
                max_tasks=_TASKS_A_PROCESS,
                initializer=start_worker,
                initargs=[threads, os.getpid()],
                context=get_context("spawn"),
            )

    def _fits(self, job: Job) -> bool:
        used = sum(self.needs[other.name] for other in self._running.values())
        room = self.limit_bytes - PARENT_BYTES - used
        return len(self._running) < self.processes and self.needs[job.name] <= room

    def _too_large(self, job: Job) -> str:
        need, limit = (
            (n + PARENT_BYTES) / 1e9
            for n in (self.needs[job.name], self.limit_bytes - PARENT_BYTES)
        )
        return (
            f"needs about {need:.1f} GB of memory, {limit:.1f} GB are allowed: "
            "give more with --memory, or close other programs"
        )


def _outcome(future: Future[Outcome], job: Job) -> Outcome:
    try:
        return future.result()
    except ProcessExpired as error:
        code = error.exitcode
        how = f"signal {-code}" if code is not None and code < 0 else f"code {code}"
        return failed(
            job,
            f"its process ended early ({how}), perhaps for lack of memory: "
            "run again, with fewer --jobs",
        )
    except Exception as error:  # noqa: BLE001 - a defect in one pair must not stop the others
        return failed(job, f"{type(error).__name__}: {error}; this is a fault of blendkit")


class _environment:  # noqa: N801 - reads as a function where it is used
    """Environment variables set for processes that are started inside the block."""

    def __init__(self, values: dict[str, str]) -> None:
        self._values = values

    def __enter__(self) -> None:
        self._before = {name: os.environ.get(name) for name in self._values}
        os.environ.update(self._values)

    def __exit__(self, *_: object) -> None:
        for name, value in self._before.items():
            if value is None:
                os.environ.pop(name, None)
            else:
                os.environ[name] = value


def start_worker(threads: int, parent: int) -> None:
    """Prepare a process: library threads, Ctrl-C left to the parent, an end with the parent."""
    import signal  # noqa: PLC0415 - only here

    signal.signal(signal.SIGINT, signal.SIG_IGN)
    os.environ.update(dict.fromkeys(_THREADS, str(threads)))
    threading.Thread(target=_end_with, args=(parent,), daemon=True).start()


def _end_with(parent: int) -> None:
    while os.getppid() == parent:
        time.sleep(_LOOK_S)
    os._exit(1)
