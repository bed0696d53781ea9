"""What a batch hands around: jobs that go to a process, outcomes that come back."""

from collections.abc import Callable
from dataclasses import asdict, dataclass, field
from pathlib import Path
from typing import Any, Literal

from blendkit.batch.pairs_file import Pair

Status = Literal["merged", "needs-a-look", "failed", "left-out"]
STATUSES: tuple[Status, ...] = ("failed", "needs-a-look", "merged", "left-out")
"""In the order in which a person looks at them."""


@dataclass(frozen=True, slots=True)
class Job:
    """One pair to merge, whole: it is sent to another process.

    output: of the result; records: folder for what the batch remembers of it.
    lender: a pair of the same set-up whose mask or strokes are lent to this one.
    layers: write matte, plate and foreground too.
    private: leave place and serial numbers out; deliveries: copies for the lab, as `--deliver` has
        them.
    number: of the pair among its fellows, for the copies' names.
    """

    pair: Pair
    output: Path
    records: Path
    fingerprint: str
    lender: Pair | None = None
    lender_output: Path | None = None
    layers: bool = False
    private: bool = False
    deliveries: tuple[str, ...] = ()
    number: int = 1

    @property
    def name(self) -> str:
        """How messages call it."""
        return self.pair.name


@dataclass(frozen=True, slots=True)
class Outcome:
    """How a pair ended: an entry of "pairs" in summary.json.

    reason: a sentence; "" where there is nothing to say.
    flags: how many of each severity.
    """

    name: str
    status: Status
    inputs: tuple[str, ...] = ()
    output: str | None = None
    report: str | None = None
    reason: str = ""
    flags: dict[str, int] = field(default_factory=lambda: {"note": 0, "warn": 0, "fail": 0})
    time_s: float = 0.0

    def document(self) -> dict[str, Any]:
        """Return it as JSON holds it."""
        return asdict(self) | {"inputs": list(self.inputs)}


def outcome_from(document: dict[str, Any]) -> Outcome:
    """Return an outcome from its JSON form; TypeError or KeyError if it is none."""
    return Outcome(**(document | {"inputs": tuple(document["inputs"])}))


def failed(job: Job, reason: str, *, time_s: float = 0.0) -> Outcome:
    """Return the outcome of a pair that could not be merged."""
    one_line = " ".join(reason.split())
    return Outcome(job.name, "failed", named_inputs(job.pair), reason=one_line, time_s=time_s)


def left_out(pair: Pair, reason: str) -> Outcome:
    """Return the outcome of a pair that was not tried."""
    return Outcome(pair.name, "left-out", named_inputs(pair), reason=reason)


def named_inputs(pair: Pair) -> tuple[str, ...]:
    """Return the names of a pair's files."""
    return tuple(str(path) for _, path in pair.files)


Work = Callable[[Job], Outcome]
"""Merges one pair in the process it is called in; it must be importable there."""
