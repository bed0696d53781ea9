"""The boughs' discs refined: taken off with its true disc, a veil leaves the plainest plate.

The search (`discs.py`) compares the background frame with what the foreground frame shows behind,
in a small picture.  What it shows is never quite as soft as it should be, and in a focus pair far
softer, so discs come out 5 to 20 % large.  Here nothing behind is asked for.  With a disc that is
too small or too large, P = (W - (aF)*k) / (1 - a*k) keeps rings of the veil and holes beside them,
which add to its total variation (Rudin, Osher & Fatemi 1992, doi:10.1016/0167-2789(92)90242-F);
with the true one they are gone.
"""

from collections.abc import Sequence
from dataclasses import replace

import cv2
import numpy as np

from blendkit.blending import BoughGroup, Veil
from blendkit.blending.veil import make_veil
from blendkit.filters.bands import gaussian
from blendkit.filters.resample import reduce_by
from blendkit.filters.threads import each_result
from blendkit.filters.tiles import whole
from blendkit.frame import Bool, Float

_WORKING_PX = 600
_TRIED = (0.70, 0.76, 0.82, 0.88, 0.94, 1.0, 1.06, 1.12, 1.2, 1.3)
_HERE = _TRIED.index(1.0)
_PLAINER = 0.99
"""What the total variation must fall to for another disc to be believed.  On 24 named pairs every
disc that was believed came nearer to the truth; at 0.995 two of nine went astray by 14 and 18 %."""
_FAINT, _DENSE = 0.02, 0.7
"""Coverage of the veil between which a plate is measured."""
_CLEAR, _LEAST_PIXELS = 0.02, 1000
_LEAST_LEFT = 0.3
_SMOOTH_PX = 1.5
_DARK = 0.002


def refined_discs(
    background: Float,
    alpha: Float,
    color: Float,
    unsure: Float,
    groups: Sequence[BoughGroup],
    factor: int,
) -> tuple[BoughGroup, ...]:
    """Return groups with the discs that leave the plainest plate.

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
        A disc changes only where that leaves a clearly plainer plate.
    """
    more = max(round(max(alpha.shape) / _WORKING_PX), 1)
    light, matte, tint = (reduce_by(v, more) for v in (background, alpha, color))
    sure = reduce_by(unsure, more) < _CLEAR
    small = [
        _reduced(group, factor * more, matte.shape, alone=len(groups) == 1) for group in groups
    ]
    for index in range(len(small)):
        share = _better_share(light, (matte, tint), small, index, sure)
        small[index] = replace(small[index], disc_px=share * small[index].disc_px)
    return tuple(
        replace(group, disc_px=found.disc_px * factor * more)
        for group, found in zip(groups, small, strict=True)
    )


def _better_share(
    light: Float, front: tuple[Float, Float], groups: list[BoughGroup], index: int, sure: Bool
) -> float:
    """Return the share of one group's disc that leaves the plainest plate; 1 where none can tell.

    front: matte and straight foreground colour.
    """

    def veil_of(share: float) -> Veil:
        changed = list(groups)
        changed[index] = replace(groups[index], disc_px=share * groups[index].disc_px)
        return make_veil(*front, changed)

    veils = each_result(veil_of, _TRIED)
    where = _measurable(veils, front[0], sure)
    if np.count_nonzero(where) < _LEAST_PIXELS:
        return 1.0
    return _plainest(each_result(lambda veil: _variation(light, veil, where), veils))


def _reduced(group: BoughGroup, factor: int, shape: tuple[int, ...], *, alone: bool) -> BoughGroup:
    """Return a group as of the reduced picture; one alone owns all, and no full picture is read."""
    x, y = group.shift_px
    share = np.ones(shape, np.float32) if alone else reduce_by(group.share, factor)
    return BoughGroup(share, group.disc_px / factor, (x / factor, y / factor))


def _measurable(veils: Sequence[Veil], matte: Float, sure: Bool) -> Bool:
    """Return where every veil tried leaves a plate to measure, bool (height, width)."""
    widest, now = veils[-1].coverage, veils[_HERE].coverage
    densest = np.maximum.reduce([veil.coverage for veil in veils])
    near = np.maximum(widest, now) > _FAINT
    return np.asarray(near & (densest < _DENSE) & (matte < _CLEAR) & sure, np.bool_)


def _variation(background: Float, veil: Veil, where: Bool) -> float:
    """Return the mean total variation of the divided plate's even tones."""
    coverage, light = veil.at(whole(background.shape))
    left = np.maximum(1 - coverage, _LEAST_LEFT)[..., None]
    tones = np.sqrt(np.maximum((background - light) / left, 0) + np.float32(_DARK))
    total = 0.0
    for channel in cv2.split(gaussian(np.asarray(tones, np.float32), _SMOOTH_PX)):
        across = cv2.Sobel(channel, cv2.CV_32F, 1, 0)
        down = cv2.Sobel(channel, cv2.CV_32F, 0, 1)
        total += float(np.hypot(across, down)[where].mean())
    return total


def _plainest(costs: Sequence[float]) -> float:
    """Return the share of the disc at which the cost is least; 1 where that hardly differs.

    >>> _plainest([5, 4, 3, 2, 1, 2, 3, 4, 5, 6])
    0.94
    >>> _plainest([1.0] * 10)
    1.0
    """
    least = int(np.argmin(costs))
    if costs[least] > _PLAINER * costs[_HERE]:
        return 1.0
    if not 0 < least < len(costs) - 1:
        return _TRIED[least]
    near = slice(least - 1, least + 2)
    bend, slope, _ = np.polyfit(_TRIED[near], costs[near], 2)
    return round(float(-slope / (2 * bend)), 4) if bend > 0 else _TRIED[least]
