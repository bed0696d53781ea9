"""What pairing finds."""

from dataclasses import dataclass
from pathlib import Path


@dataclass(frozen=True, slots=True)
class FoundPair:
    """A pair as it was found.

    kind: "aperture", "focus" or "both"; setup: number of the set-up, from 1.
    certainty: 0 to 1; why: a sentence.
    clear: frame of the same pose with the foreground held aside.
    """

    name: str
    kind: str
    setup: int
    background: Path
    foreground: Path
    bridges: tuple[Path, ...]
    certainty: float
    why: str
    clear: Path | None = None


@dataclass(frozen=True, slots=True)
class Found:
    """What a folder holds: pairs, frames left alone with the reason, notes."""

    folder: Path
    pairs: tuple[FoundPair, ...]
    alone: tuple[tuple[Path, str], ...]
    notes: tuple[str, ...]
