"""Jobs in processes of this machine.

A pool of the standard library gives up everything that waits when one of its processes is killed.
So every slot is a pool of one process: a process that dies takes its own pair along and no other,
and its slot gets a new one.
"""

import os
import threading
from collections import deque
from collections.abc import Iterable, Iterator, Sequence
from concurrent.futures import FIRST_COMPLETED, Future, ProcessPoolExecutor, wait
from concurrent.futures.process import BrokenProcessPool
from dataclasses import dataclass
from multiprocessing import get_context
from multiprocessing.connection import Connection

from blendkit.batch.memory import PARENT_BYTES
from blendkit.batch.records import Job, Outcome, Work, failed
from blendkit.errors import NO_MEMORY, lacked_memory

THREAD_LIMITS = ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS", "NUMBA_NUM_THREADS")
"""Environment variables by which numerical libraries are told how many threads to use."""

_PAIRS_A_PROCESS = 8
"""Then it is replaced, so that memory that the allocator kept is given back."""


@dataclass(frozen=True, slots=True)
class Local:
    """Runs jobs in `processes` processes that together stay under limit_bytes by estimate.

    needs: bytes each job may need, by name; threads: of the libraries in each process, None shares
        the processors out.
    """

    work: Work
    processes: int
    limit_bytes: int
    needs: dict[str, int]
    threads: int | None = None

    def run(self, jobs: Sequence[Job]) -> Iterator[Outcome]:
        """Yield an outcome for every job, in the order in which they end.

        Whatever ends the iteration early, such as Ctrl-C, ends the processes.
        """
        slots = _Slots(self.processes, self.threads)
        running: dict[Future[Outcome], tuple[Job, ProcessPoolExecutor]] = {}
        waiting = deque(jobs)
        try:
            while waiting or running:
                while waiting and slots.free and self._fits(waiting[0], running.values()):
                    job = waiting.popleft()
                    future, slot = slots.begin(self.work, job)
                    running[future] = job, slot
                if not running:
                    job = waiting.popleft()
                    yield failed(job, self._too_large(job))
                    continue
                for future in wait(running, return_when=FIRST_COMPLETED).done:
                    job, slot = running.pop(future)
                    slots.take_back(slot, broken=isinstance(future.exception(), BrokenProcessPool))
                    yield outcome_of(future, job)
        except BaseException:
            slots.cut_off()
            raise
        finally:
            slots.end()

    def _fits(self, job: Job, running: Iterable[tuple[Job, ProcessPoolExecutor]]) -> bool:
        used = sum(self.needs[other.name] for other, _ in running)
        return used + self.needs[job.name] <= self.limit_bytes - PARENT_BYTES

    def _too_large(self, job: Job) -> str:
        need = (self.needs[job.name] + PARENT_BYTES) / 1e9
        return (
            f"needs about {need:.1f} GB of memory, {self.limit_bytes / 1e9:.1f} GB are allowed: "
            "give more with --memory, or close other programs"
        )


class _Slots:
    """Pools of one process each; all processes end when their end of a pipe is closed."""

    def __init__(self, count: int, threads: int | None) -> None:
        self._context = get_context("spawn")
        self._ear, self._mouth = self._context.Pipe(duplex=False)
        self._threads = threads or max(1, (os.cpu_count() or 1) // count)
        self._all = [self._new() for _ in range(count)]
        self.free = list(self._all)

    def _new(self) -> ProcessPoolExecutor:
        return ProcessPoolExecutor(
            1,
            mp_context=self._context,
            initializer=start_worker,
            initargs=(self._threads, self._ear),
            max_tasks_per_child=_PAIRS_A_PROCESS,
        )

    def begin(self, work: Work, job: Job) -> tuple[Future[Outcome], ProcessPoolExecutor]:
        """Begin a job in a free slot, in a new one where its process died while it was idle."""
        slot = self.free.pop()
        try:
            return slot.submit(work, job), slot
        except BrokenProcessPool:
            slot = self._replaced(slot)
            return slot.submit(work, job), slot

    def _replaced(self, slot: ProcessPoolExecutor) -> ProcessPoolExecutor:
        slot.shutdown(wait=False)
        self._all.remove(slot)
        fresh = self._new()
        self._all.append(fresh)
        return fresh

    def take_back(self, slot: ProcessPoolExecutor, *, broken: bool) -> None:
        """Make a slot free again, with a new pool if its process has died."""
        self.free.append(self._replaced(slot) if broken else slot)

    def cut_off(self) -> None:
        """End the processes at once, whatever they do."""
        self._mouth.close()

    def end(self) -> None:
        """End the processes, and wait until they have."""
        for slot in self._all:
            slot.shutdown(cancel_futures=True)
        self._mouth.close()
        self._ear.close()


def outcome_of(future: Future[Outcome], job: Job) -> Outcome:
    """Return what a job's future holds; whatever went wrong becomes a failed pair."""
    try:
        return future.result()
    except BrokenProcessPool:
        return failed(
            job,
            "its process was ended from outside, perhaps for lack of memory: "
            "run again, with fewer --jobs",
        )
    except Exception as error:  # noqa: BLE001 - a defect in one pair must not stop the others
        if lacked_memory(error):
            return failed(job, NO_MEMORY)
        return failed(job, f"{type(error).__name__}: {error}; this is a fault of blendkit")


def start_worker(threads: int, ear: Connection) -> None:
    """Prepare a process: library threads, Ctrl-C left to the parent, an end with the parent."""
    import signal  # noqa: PLC0415 - only here

    signal.signal(signal.SIGINT, signal.SIG_IGN)
    os.environ.update(dict.fromkeys(THREAD_LIMITS, str(threads)))
    threading.Thread(target=_end_with, args=(ear,), daemon=True).start()


def _end_with(ear: Connection) -> None:
    """Wait until the parent closes the pipe or dies, then end, whatever is being done."""
    try:
        ear.recv_bytes()
    except (EOFError, OSError):
        os._exit(1)
