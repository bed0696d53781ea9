"""What a repair is asked for and what it gives."""

from dataclasses import asdict, dataclass
from typing import Literal

from blendkit.merge import Merged
from blendkit.midground import Severity

Mode = Literal["bridge", "extend", "taper", "sharpen", "auto"]
MODES: tuple[Mode, ...] = ("bridge", "extend", "taper", "sharpen", "auto")


@dataclass(frozen=True, slots=True)
class Attempt:
    """What a mode did to a flag: severities, whether it was applied, and why or why not."""

    flag: str
    mode: str
    before: Severity
    after: Severity | None
    applied: bool
    why: str


@dataclass(frozen=True, eq=False, slots=True)
class Repaired:
    """A merge with its repairs applied; attempts in the order they were made."""

    merged: Merged
    attempts: tuple[Attempt, ...]

    @property
    def records(self) -> tuple[dict[str, object], ...]:
        """The attempts as the report lists them."""
        return tuple(asdict(attempt) for attempt in self.attempts)
