"""What looks wrong in a result, where, how loud, and what to do about it."""

from dataclasses import dataclass
from typing import Literal

from blendkit.frame import Bool

Severity = Literal["note", "warn", "fail"]
LOUDNESS: dict[Severity, int] = {"note": 0, "warn": 1, "fail": 2}


@dataclass(frozen=True, eq=False, slots=True)
class Flag:
    """A finding.

    kind: its name, such as "soft-foreground".
    region: bool (height, width), where.
    message: what is wrong, in a sentence with numbers.
    advice: what to do, in a sentence.
    """

    kind: str
    severity: Severity
    region: Bool
    message: str
    advice: str
