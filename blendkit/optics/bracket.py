"""How many frames, and focused where, hold a range of distances sharp.

With X = 1 - f/d, a frame focused at y = 1 - f/s is sharp from y (1 - k) to y (1 + k), where
k = c N / f (this follows from the exact limits of depth of field).  So every frame multiplies X by
the same factor (1 + k)/(1 - k), a range takes ceil(log(X_far/X_near) / log(factor)) frames, and
frames spaced evenly in log X are equally blurred at every joint: no other spacing does with fewer.
"""

import math
from typing import NamedTuple

from blendkit.errors import InputError
from blendkit.optics.checks import MM_PER_M, inverse_distance, positive
from blendkit.optics.diffraction import LARGEST_F_NUMBER
from blendkit.optics.exposure import exact_f_number, marked_f_number_from

ROUNDING = 1e-12
"""Slack against counting one more frame because of the last bit of a logarithm."""

TOUCHING = 0.999999
"""Largest k = cN/f a series is planned for: beyond it, one frame holds everything."""

USUAL_STOPPED = 16.0
"""Of a stopped frame; a gap that one frame cannot close is bridged at least so far stopped down."""

LEAST_MISSED = 1e-9
"""Share by which an f-number may miss another and still reach it: rounding."""


class Series(NamedTuple):
    """Focus distances in m from near to far, and the f-number that lets them just touch."""

    focus_distances_m: tuple[float, ...]
    least_f_number: float


def frames_needed(
    near_m: float, far_m: float, *, focal_length_mm: float, f_number: float, coc_mm: float
) -> int:
    """Return the smallest number of frames at one f-number that hold near to far sharp.

    Raises InputError for a range that is not in order, or that starts inside the focal length.

    >>> frames_needed(2.2, 4, focal_length_mm=135, f_number=16, coc_mm=0.0288)
    5
    """
    spread = math.log(_spread(near_m, far_m, focal_length_mm))
    k = float(positive("f_number", f_number) * positive("coc_mm", coc_mm)) / focal_length_mm
    if k > TOUCHING:
        return 1
    step = math.log((1 + k) / (1 - k))
    return max(1, math.ceil(spread / step * (1 - ROUNDING)))


def focus_series(
    near_m: float, far_m: float, *, focal_length_mm: float, coc_mm: float, frames: int
) -> Series:
    """Spread a number of frames over a range so that all joints are equally blurred.

    One frame is focused at the harmonic mean of the two distances.  far_m may be infinite.

    >>> series = focus_series(2.2, 4, focal_length_mm=135, coc_mm=0.0288, frames=1)
    >>> round(series.focus_distances_m[0], 2), round(series.least_f_number)
    (2.84, 68)
    """
    if frames < 1:
        raise InputError(f"frames = {frames}: allowed is 1 or more")
    factor = _spread(near_m, far_m, focal_length_mm) ** (1 / frames)
    first = (1 - focal_length_mm / (near_m * MM_PER_M)) * (1 + factor) / 2
    planes = [first * factor**index for index in range(frames)]
    distances = tuple(focal_length_mm / (1 - plane) / MM_PER_M for plane in planes)
    k = (factor - 1) / (factor + 1)
    return Series(distances, k * focal_length_mm / float(positive("coc_mm", coc_mm)))


def bridge_f_number(stopped: float, least: float) -> float:
    """Return the engraved f-number that bridges a gap with as few frames as those in use allow.

    The foreground frame's where one frame closes the gap at it; else the next at which one does, up
    to f/22 or to the foreground frame's; else f/16 or, if it is past that, the foreground frame's.

    stopped: the foreground frame's, engraved.  least: what a single frame takes, exact.

    >>> bridge_f_number(8, 7.5), bridge_f_number(8, 14.1), bridge_f_number(8, 59)
    (8, 14.0, 16.0)
    """
    if reaches(stopped, least):
        return stopped
    marked = marked_f_number_from(least)
    if marked is not None and marked <= max(LARGEST_F_NUMBER, stopped):
        return marked
    return max(stopped, USUAL_STOPPED)


def reaches(f_number: float, least: float) -> bool:
    """Return whether an engraved f-number stops down as far as an exact one.

    >>> reaches(22, 22.6), reaches(22, 22.7)
    (True, False)
    """
    return exact_f_number(f_number) >= least * (1 - LEAST_MISSED)


def _spread(near_m: float, far_m: float, focal_length_mm: float) -> float:
    if not near_m <= far_m:
        raise InputError(f"the range {near_m:g} m to {far_m:g} m runs backwards: give near first")
    focal = positive("focal_length_mm", focal_length_mm)
    near, far = (inverse_distance("distance_m", d, focal) for d in (near_m, far_m))
    return float((1 - focal * far) / (1 - focal * near))
