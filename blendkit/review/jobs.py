"""Merges in full behind the page: one at a time, in the order they were asked for."""

import queue
import threading
from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass, replace
from typing import Any, Literal

from blendkit.errors import BlendkitError
from blendkit.review.work import Task, start

State = Literal["waiting", "running", "done", "failed", "cancelled"]
_PATIENCE_S = 8.0


@dataclass(frozen=True, slots=True)
class Job:
    """How a merge stands: stage and share (0 to 1) while it runs, error once it failed."""

    state: State = "waiting"
    stage: str = ""
    share: float = 0.0
    error: str = ""

    @property
    def over(self) -> bool:
        """Whether nothing more will happen."""
        return self.state in ("done", "failed", "cancelled")


class Jobs:
    """Runs merges one after another.

    ended: called with (key, job) whenever one is over, from the thread that runs them.
    """

    def __init__(self, ended: Callable[[str, Job], None] = lambda _key, _job: None) -> None:
        self._ended = ended
        self._jobs: dict[str, Job] = {}
        self._guard = threading.Lock()
        self._numbers: dict[str, int] = {}  # of the last merge asked for, by pair
        self._queue: queue.Queue[tuple[str, int, Task] | None] = queue.Queue()
        self._running: tuple[str, Any] | None = None
        self._thread = threading.Thread(target=self._work, name="merges", daemon=True)
        self._thread.start()

    def of(self, key: str) -> Job | None:
        """Return how the last merge of a pair stands; None if there was none."""
        return self._jobs.get(key)

    def add(self, key: str, task: Task) -> bool:
        """Queue a merge; False if one of this pair is under way."""
        with self._guard:
            job = self._jobs.get(key)
            if job is not None and not job.over:
                return False
            self._jobs[key] = Job()
            number = self._numbers[key] = self._numbers.get(key, 0) + 1
        self._queue.put((key, number, task))
        return True

    def cancel(self, key: str) -> None:
        """End the merge of a pair, waiting or running; its result stays as it was."""
        with self._guard:
            job = self._jobs.get(key)
            if job is None or job.over:
                return
            self._jobs[key] = replace(job, state="cancelled")
            if self._running is not None and self._running[0] == key:
                self._running[1].terminate()

    def close(self) -> None:
        """End all merges and wait for them."""
        for key in list(self._jobs):
            self.cancel(key)
        self._queue.put(None)
        self._thread.join(2 * _PATIENCE_S)

    def _work(self) -> None:
        while (item := self._queue.get()) is not None:
            key, number, task = item
            if not self._asked(key, number):
                continue  # cancelled while it waited
            self._run(key, number, task)
            with self._guard:
                job, self._running = self._jobs[key], None
            with suppress(BlendkitError):  # a sidecar that cannot be written: the page says so
                self._ended(key, job)

    def _run(self, key: str, number: int, task: Task) -> None:
        try:
            process, pipe = start(task)
        except OSError as error:
            why = f"the merge could not be started ({error.strerror or error})"
            cure = "close other programs and merge again"
            self._set(key, number, Job("failed", error=f"{why}; {cure}"))
            return
        with self._guard:
            self._running = (key, process)
            if self._numbers[key] != number or self._jobs[key].over:
                process.terminate()
        try:
            while True:
                self._take(key, number, *pipe.recv())
        except (EOFError, OSError):  # it is over, or was ended in the middle of a word
            process.join(_PATIENCE_S)
        if process.is_alive():
            process.kill()
            process.join()
        why = "the merge ended by itself; there may be too little memory"
        if self._asked(key, number):
            self._set(key, number, Job("failed", error=why))

    def _asked(self, key: str, number: int) -> bool:
        """Return whether this very merge is still wanted: not over, and not asked for anew."""
        with self._guard:
            return self._numbers[key] == number and not self._jobs[key].over

    def _take(self, key: str, number: int, what: str, words: str, share: float) -> None:
        told = {
            "stage": Job("running", words, share),
            "done": Job("done", share=1.0),
            "failed": Job("failed", error=words),
        }
        self._set(key, number, told[what])

    def _set(self, key: str, number: int, job: Job) -> None:
        with self._guard:
            if self._numbers[key] == number and self._jobs[key].state != "cancelled":
                self._jobs[key] = job
