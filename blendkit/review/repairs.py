"""Repairs of the soft mid-ground: offered with their flags, tried at screen size."""

from collections.abc import Mapping
from typing import Any

from blendkit.errors import InputError
from blendkit.masks.strokes import Stroke
from blendkit.merge import Merged
from blendkit.repair import MODES, Mode, repair_result
from blendkit.review.preview import Small
from blendkit.review.state import PairState

_REPAIRABLE = ("soft-midground", "blur-step")
_OFFERS: dict[Mode, tuple[str, str]] = {
    "bridge": (
        "Fill it from the bridge frame",
        "a third frame that is sharp there takes its place",
    ),
    "extend": ("Take it from the sharper frame", "as far as either frame is sharp there"),
    "sharpen": ("Sharpen it", "small discs only, held back by the grain"),
    "taper": (
        "Let the blur grow evenly",
        "what lies away from the sharp part becomes softer, as one lens would do",
    ),
}


def offers_for(state: PairState, flag: Mapping[str, Any]) -> list[dict[str, str]]:
    """Return the repairs on offer for a flag, each with mode, label and help."""
    if flag.get("kind") not in _REPAIRABLE:
        return []
    return [
        {"mode": mode, "label": label, "help": help_}
        for mode, (label, help_) in _OFFERS.items()
        if mode != "bridge" or state.files.bridges
    ]


def label_of(mode: str) -> str:
    """Return what the page calls a repair.

    >>> label_of("sharpen"), label_of("auto")
    ('Sharpen it', 'auto')
    """
    return next((label for known, (label, _) in _OFFERS.items() if known == mode), mode)


def checked_mode(mode: str) -> Mode:
    """Return a repair mode; InputError if there is none of this name."""
    for known in MODES:
        if mode == known:
            return known
    raise InputError(f"repair {mode!r}: choose one of {', '.join(MODES)}")


def try_repair(
    merged: Merged, small: Small, mode: Mode, strokes: tuple[Stroke, ...] = ()
) -> Merged:
    """Return the small merge repaired.

    strokes : in px of the background frame; lines over surfaces among them tell their order.

    Raises
    ------
    InputError : nothing was repaired; the sentence says why.
    """
    if mode == "bridge":
        raise InputError("a bridge frame is laid in at full size only: keep it, then look")
    scale = max(small.full_size) / max(small.background.size)
    done = repair_result(
        merged,
        small.background,
        small.foreground,
        mode=mode,
        nearer=small.nearer(strokes),
        scale=scale,
    )
    if not any(attempt.applied for attempt in done.attempts):
        why = "; ".join(attempt.why for attempt in done.attempts)
        raise InputError(f"this repair does not help here: {why or 'nothing to repair was found'}")
    return done.merged
