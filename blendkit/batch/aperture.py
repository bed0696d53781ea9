"""Apertures within a set-up, from tags, or from exposure and brightness where tags are missing."""

from collections.abc import Sequence
from math import log2

import numpy as np

from blendkit.batch.shots import Shot

PAIR_STOPS = 1.8
"""Two apertures this far apart make a pair; nearer ones are the same for pairing."""

SAME_STOPS = 0.75


def aperture_values(shots: Sequence[Shot]) -> list[float | None]:
    """Return Av = log2(N^2) of each shot (CIPA DC-008, annex C); None where nothing tells.

    Where a lens records no f-number, the light tells: with t the exposure time and S the
    sensitivity, the picture's brightness goes with t S / N^2.  Such values are right within the
    set-up up to a constant, and to what the light itself has changed.
    """
    tagged = [_tagged(shot) for shot in shots]
    if all(value is not None for value in tagged):
        return tagged
    seen = [_seen(shot) for shot in shots]
    both = [t - s for t, s in zip(tagged, seen, strict=True) if t is not None and s is not None]
    if not both and any(value is not None for value in tagged):
        return tagged
    offset = float(np.median(both)) if both else 0.0
    return [
        tag if tag is not None else None if light is None else light + offset
        for tag, light in zip(tagged, seen, strict=True)
    ]


def _tagged(shot: Shot) -> float | None:
    number = shot.capture.f_number
    return 2 * log2(number) if number else None


def _seen(shot: Shot) -> float | None:
    time_s, iso = shot.capture.exposure_time_s, shot.capture.iso
    if not time_s or not iso:
        return None
    middle = float(np.median(shot.small))
    return log2(time_s * iso / max(middle, 1e-4))


def groups(values: Sequence[float | None], *, step: float = SAME_STOPS) -> list[list[int]]:
    """Return indices of like values, lowest values first; those of None are left out.

    Like is what lies within a step of the lowest of its group: a row of third stops is no one
    aperture, however near each is to the next.

    Examples
    --------
    >>> groups([3.0, 8.0, 2.97, None, 8.1])
    [[2, 0], [1, 4]]
    """
    known = [(value, index) for index, value in enumerate(values) if value is not None]
    found: list[list[int]] = []
    lowest = float("-inf")
    for value, index in sorted(known):
        if value - lowest > step:
            found.append([])
            lowest = value
        found[-1].append(index)
    return found


def sides(values: Sequence[float | None]) -> tuple[list[int], list[int], list[int]]:
    """Return indices of the wide side, of what lies between, and of the stopped side.

    A side is the widest, or the most stopped, aperture with those nearer than PAIR_STOPS to it that
    are at least as far from the other end: poses are not always taken at one aperture.  In a
    bracket, which holds each aperture once, the two ends alone are sides.

    values : of two groups at least; those of None are left out.

    Examples
    --------
    >>> sides([3.0, 4.0, 4.0, 8.0])
    ([0, 1, 2], [], [3])
    >>> sides([3.0, 4.0, 5.0, 6.0, 7.0, 8.0])
    ([0], [1, 2, 3, 4], [5])
    """
    first, *middle, last = groups(values)
    known = [value for value in values if value is not None]
    least, most = min(known), max(known)
    a_bracket = all(len(group) == 1 for group in (first, *middle, last))
    wide, between, stopped = list(first), list[int](), list[int]()
    for group in middle:
        given = [values[k] or 0.0 for k in group]
        if a_bracket:
            between += group
        elif max(given) - least < PAIR_STOPS <= most - max(given):
            wide += group
        elif most - min(given) < PAIR_STOPS <= min(given) - least:
            stopped += group
        else:
            between += group
    return wide, between, [*stopped, *last]
