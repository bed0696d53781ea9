"""Merges in full behind the page: what is cancelled, asked for anew, or ends in trouble."""

import threading
import time
from collections.abc import Callable

import pytest

from blendkit.errors import InputError
from blendkit.review.jobs import Job, Jobs


class Process:
    """A process that has ended once its pipe is read."""

    def is_alive(self) -> bool:
        """Return that it has ended."""
        return False

    def join(self, _: float = 0) -> None:
        """Wait for nothing."""

    def terminate(self) -> None:
        """End nothing."""


class Pipe:
    """Tells of a merge that is done, once it may."""

    def __init__(self, may: threading.Event) -> None:
        self.may = may
        self.told = [("done", "", 1.0)]

    def recv(self) -> tuple[str, str, float]:
        """Return what is told next; EOFError after the last."""
        self.may.wait(5)
        if not self.told:
            raise EOFError
        return self.told.pop()


def until(true: Callable[[], bool]) -> None:
    for _ in range(500):
        if true():
            return
        time.sleep(0.01)
    raise AssertionError


def test_a_merge_cancelled_and_asked_for_anew_runs_once_as_it_was_asked_last(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    begun: list[object] = []
    ended: list[str] = []
    may = threading.Event()

    def begin(task: object) -> tuple[Process, Pipe]:
        begun.append(task)
        return Process(), Pipe(may)

    def told(key: str, job: Job) -> None:
        ended.append(f"{key} {job.state}")
        raise InputError("the sidecar is damaged")  # costs the merges that wait nothing

    monkeypatch.setattr("blendkit.review.jobs.start", begin)
    jobs = Jobs(told)
    jobs.add("a", "first")
    until(lambda: len(begun) == 1)
    jobs.add("b", "old")
    jobs.cancel("b")
    jobs.add("b", "new")
    may.set()
    until(lambda: len(ended) == 2)
    assert (begun, ended) == (["first", "new"], ["a done", "b done"])
    jobs.close()


def test_a_merge_that_cannot_be_started_says_so(monkeypatch: pytest.MonkeyPatch) -> None:
    def begin(_: object) -> None:
        raise OSError(11, "Resource temporarily unavailable")

    monkeypatch.setattr("blendkit.review.jobs.start", begin)
    jobs = Jobs()
    jobs.add("a", "first")
    until(lambda: jobs.of("a") is not None and jobs.of("a").over)
    assert jobs.of("a").error == (
        "the merge could not be started (Resource temporarily unavailable); close other programs "
        "and merge again"
    )
    jobs.close()


def test_a_merge_that_ends_in_the_middle_of_a_word_has_ended(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    class Torn:
        """A pipe whose writer was killed while it wrote."""

        def recv(self) -> None:
            """Raise what a pipe raises then."""
            raise OSError("got end of file during message")

    monkeypatch.setattr("blendkit.review.jobs.start", lambda _: (Process(), Torn()))
    jobs = Jobs()
    jobs.add("a", "first")
    until(lambda: jobs.of("a") is not None and jobs.of("a").over)
    said = jobs.of("a").error
    assert said == "the merge ended by itself; there may be too little memory"
    jobs.close()
