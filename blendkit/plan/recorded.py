"""The exposure of a photograph, carried over to other settings in the same light."""

import math
from dataclasses import fields
from typing import NamedTuple

from blendkit.optics import exact_f_number, exact_shutter_s, marked_shutter_s
from blendkit.plan import wording
from blendkit.plan.light import AGREEING_STEPS, SAME_LIGHT_STEPS
from blendkit.plan.scene import Scene

FLAGS = {"exposure_time_s": "--shutter", "iso": "--iso"}
SHORTEST_S = 1 / 8000
"""Where most shutters end (common practice, no source)."""
BASE_ISO = 100.0
"""Down to which every camera goes (common practice, no source)."""


class Exposed(NamedTuple):
    """An engraved f-number, a displayed shutter time in s, an ISO; None = not known."""

    f_number: float | None = None
    exposure_time_s: float | None = None
    iso: float | None = None


def carried_over(recorded: Exposed, line: Exposed) -> tuple[Exposed, str]:
    """Return the exposure to plan with, and a sentence on what became of the recorded one.

    One setting on the line moves the time (a time moves the ISO) to the setting of a camera that
    keeps the picture as bright.  With more of them the line counts, and what was recorded is left
    out where it would make the picture brighter or darker.  The sentence is empty where nothing was
    changed.

    >>> carried_over(Exposed(8, 1 / 60, 200), Exposed(iso=400))[0]
    Exposed(f_number=8, exposure_time_s=0.008, iso=400)
    """
    both = (old if new is None else new for old, new in zip(recorded, line, strict=True))
    merged = Exposed(*both)
    given = [name for name, value in line._asdict().items() if value is not None]
    follower = next((name for name in FLAGS if name not in given), None)
    value = None if follower is None else getattr(merged, follower)
    if not given or follower is None or value is None:
        return merged, ""
    before, now = _light(recorded, of=given), _light(merged, of=given)
    steps = math.nan if before is None or now is None else round(now - before, 12)
    if abs(steps) < (SAME_LIGHT_STEPS if len(given) == 1 else AGREEING_STEPS):
        return merged, ""
    if len(given) == 1 and not math.isnan(steps):
        exact = exact_shutter_s(value) if follower == "exposure_time_s" else value
        moved = merged._replace(**{follower: _set(follower, exact * 2.0**-steps)})
        if _planned_for(follower, getattr(moved, follower)):
            told = f"{_told(recorded)} as recorded is planned as {_told(moved)}, as bright"
            return moved, told + _too_short(moved)
    left_out = merged._replace(**{follower: None})
    return left_out, (
        f"{_told(Exposed(**{follower: value}))} as recorded does not go with"
        f" {_told(line)} and is left out; give {FLAGS[follower]} as well if you know it"
    )


def _too_short(exposed: Exposed) -> str:
    """Return what to do about a time that few shutters have, after a semicolon; empty for others.

    >>> _too_short(Exposed(1.4, 1 / 65536, 800))
    '; most shutters end at 1/8000 s: for that take ISO 100'
    >>> _too_short(Exposed(1.4, 1 / 65536, 200))
    '; most shutters end at 1/8000 s: for that take ISO 100 and an ND filter of 2 stops'
    """
    if exposed.exposure_time_s is None:
        return ""
    steps = math.log2(exact_shutter_s(SHORTEST_S) / exact_shutter_s(exposed.exposure_time_s))
    if steps < AGREEING_STEPS:
        return ""
    parts = []
    if exposed.iso is not None and exposed.iso > BASE_ISO:
        lowered = max(wording.marked_iso(exposed.iso * 2**-steps), BASE_ISO)
        steps -= math.log2(exposed.iso / lowered)
        parts = [wording.iso(lowered)]
    stops = math.ceil(steps - AGREEING_STEPS)
    if stops > 0:
        parts.append(f"an ND filter of {stops} stop{'s' if stops > 1 else ''}")
    return f"; most shutters end at 1/8000 s: for that take {' and '.join(parts)}"


def _planned_for(name: str, value: float) -> bool:
    """Return whether a plan takes a value, which nobody gave, for a setting."""
    limits = next(item.metadata for item in fields(Scene) if item.name == name)
    return bool(limits["low"] <= value <= limits["high"])


def _set(name: str, value: float) -> float:
    """Return the setting of a camera nearest to a value, a time as displayed."""
    return marked_shutter_s(value) if name == "exposure_time_s" else wording.marked_iso(value)


def _light(exposed: Exposed, *, of: list[str]) -> float | None:
    """Return in steps how bright the settings named make a picture; None where one is missing."""
    steps = 0.0
    for name in of:
        value = getattr(exposed, name)
        if value is None:
            return None
        if name == "f_number":
            steps -= 2 * math.log2(exact_f_number(value))
        else:
            steps += math.log2(exact_shutter_s(value) if name == "exposure_time_s" else value)
    return steps


def _told(exposed: Exposed) -> str:
    f_number, time_s, iso = exposed
    parts = [
        None if f_number is None else wording.aperture(f_number),
        None if time_s is None else wording.given_shutter(time_s),
        None if iso is None else wording.given_iso(iso),
    ]
    return ", ".join(part for part in parts if part)
