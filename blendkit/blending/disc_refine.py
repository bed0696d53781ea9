"""The boughs' discs refined: taken off with its true disc, a veil leaves the plainest plate.

The search (`discs.py`) compares the background frame with what the foreground frame shows behind,
in a small picture.  What it shows is never quite as soft as it should be, and in a focus pair far
softer, so discs come out 5 to 20 % large.  Here nothing behind is asked for (`plainness.py`).
"""

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from blendkit.blending import BoughGroup
from blendkit.blending.plainness import Front, surely_plainer
from blendkit.blending.rim_search import with_rim
from blendkit.filters.resample import reduce_by
from blendkit.frame import Float

_WORKING_PX = 600
_TRIED = (0.70, 0.76, 0.82, 0.88, 0.94, 1.0, 1.06, 1.12, 1.2, 1.3)
_HERE = _TRIED.index(1.0)
_SURE_SMALLER, _SURE_LARGER = 0.7, 1.5
"""Deviations by which another disc must be the plainer one to be believed: those of the search are
seldom too small."""
_CLEAR = 0.02


def refined_groups(
    background: Float,
    alpha: Float,
    color: Float,
    unsure: Float,
    groups: Sequence[BoughGroup],
    factor: int,
) -> tuple[BoughGroup, ...]:
    """Return groups with the discs, and the cut of the lens's rims, that leave the plainest plate.

    Parameters
    ----------
    background : ndarray
        Background frame reduced by the factor, float32 (height, width, 3), linear.
    alpha, color : ndarray
        Matte, (height, width), and straight foreground colour, (height, width, 3), reduced alike.
    unsure : ndarray
        float32 (height, width), 1 where the background frame says nothing of a veil.
    groups : sequence of BoughGroup
        Of the full picture, with the discs found so far, px of the full picture.
    factor : int

    Returns
    -------
    tuple of BoughGroup
        They change only where that leaves a clearly plainer plate.
    """
    more = max(round(max(alpha.shape) / _WORKING_PX), 1)
    light, matte, tint = (reduce_by(v, more) for v in (background, alpha, color))
    front = Front(light, matte, tint, reduce_by(unsure, more) < _CLEAR)
    small = [
        _reduced(group, factor * more, matte.shape, alone=len(groups) == 1) for group in groups
    ]
    for index in range(len(small)):
        small[index] = _with_better_disc(front, small, index)
    small = with_rim(front, small)
    return tuple(
        replace(group, disc_px=found.disc_px * factor * more, rim=found.rim.enlarged(factor * more))
        for group, found in zip(groups, small, strict=True)
    )


def _with_better_disc(front: Front, groups: Sequence[BoughGroup], index: int) -> BoughGroup:
    """Return one of the groups, with the disc that leaves the plainest plate if one does."""

    def scaled(share: float) -> list[BoughGroup]:
        changed = list(groups)
        changed[index] = replace(groups[index], disc_px=share * groups[index].disc_px)
        return changed

    costs = front.variations(_TRIED, scaled)
    return groups[index] if costs is None else scaled(_plainest_share(costs))[index]


def _reduced(group: BoughGroup, factor: int, shape: tuple[int, ...], *, alone: bool) -> BoughGroup:
    """Return a group as of the reduced picture; one alone owns all, and no full picture is read."""
    x, y = group.shift_px
    share = np.ones(shape, np.float32) if alone else reduce_by(group.share, factor)
    return BoughGroup(share, group.disc_px / factor, (x / factor, y / factor))


def _plainest_share(costs: Float) -> float:
    """Return the share of the disc at which the cost is least; 1 where that may be chance.

    costs: float32 (trials, cells).

    >>> _plainest_share(np.float32([5, 4, 3, 2, 1, 2, 3, 4, 5, 6])[:, None])
    0.94
    >>> _plainest_share(np.ones((10, 1), np.float32))
    1.0
    """
    summed = costs.sum(axis=1)
    least = int(np.argmin(summed))
    wanted = _SURE_SMALLER if least < _HERE else _SURE_LARGER
    if surely_plainer(costs[least], costs[_HERE]) < wanted:
        return 1.0
    if not 0 < least < len(summed) - 1:
        return _TRIED[least]
    near = slice(least - 1, least + 2)
    bend, slope, _ = np.polyfit(_TRIED[near], summed[near], 2)
    return round(float(-slope / (2 * bend)), 4) if bend > 0 else _TRIED[least]
