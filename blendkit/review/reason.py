"""Why a pair needs a look, in a sentence, and how urgently."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from blendkit.midground import LOUDNESS, Severity


@dataclass(frozen=True, slots=True)
class Reason:
    """A sentence, and the severity of the loudest finding; None where there is none."""

    sentence: str
    severity: Severity | None


def reason_for(report: Mapping[str, Any] | None, *, merged: bool, why: str = "") -> Reason:
    """Return why a pair needs a look.

    Parameters
    ----------
    report : of its result, or of its refusal; None if it was never merged.
    merged : whether there is a result.
    why : why its frames are a pair.
    """
    flags = loudest_first((report or {}).get("flags") or [])
    if flags:
        return Reason(str(flags[0]["message"]), flags[0]["severity"])
    if not merged:
        said = f"not merged yet; {why}" if why else "not merged yet"
        return Reason(said, None)
    return Reason(_calm(report), None)


def loudest_first(flags: Sequence[Any]) -> list[Mapping[str, Any]]:
    """Return the flags of a report that can be understood, the loudest first."""
    sound = [
        flag
        for flag in flags
        if isinstance(flag, Mapping) and flag.get("severity") in LOUDNESS and "message" in flag
    ]
    return sorted(sound, key=lambda flag: -LOUDNESS[flag["severity"]])


def _calm(report: Mapping[str, Any] | None) -> str:
    foreground = (report or {}).get("foreground") or {}
    coverage, discs = foreground.get("coverage"), foreground.get("blur_disc_px")
    if not isinstance(coverage, int | float):
        return "merged, nothing found"
    blur = f", veiled by discs of about {discs[1]:.0f} px" if discs else ""
    return f"nothing found; the sharp foreground covers {100 * coverage:.1f} %{blur}"


def order_of(reason: Reason, *, open_: bool) -> tuple[int, int]:
    """Return a key that sorts what needs a look first: open before decided, loud before quiet."""
    loud = -1 if reason.severity is None else LOUDNESS[reason.severity]
    return (0 if open_ else 1, -loud)
