"""Blur by discs that differ from place to place: a ladder of diameters, halved pictures.

Discs stand on a ladder of diameters, and each pixel is shared between two rungs.  Large rungs are
blurred in pictures halved once or more, where their discs span 16 to 32 px, and what all of these
spread is summed into one picture of half the size.
"""

from collections.abc import Callable
from dataclasses import dataclass

import cv2
import numpy as np

from blendkit.filters.disc import disc_blur
from blendkit.filters.resample import any_in_cells, enlarge, put_reduced, reduce_by
from blendkit.filters.threads import each_part
from blendkit.filters.tiles import Window, inside, tiles
from blendkit.frame import Bool, Float
from blendkit.memory import unwritten

_TILE = 384
_STEP = 1.35
_SMALLEST_PX = 1.0
_WORKING_DISC_PX = 16.0
"""Least disc in a halved picture: a hard edge stays within 0.5 % of exact."""


@dataclass(frozen=True, slots=True)
class Ladder:
    """Disc diameters, px of the full picture, and which of them each halved picture blurs.

    scales: indices of the diameters by the reduction at which they are blurred: 1, 2, 4 ...
    """

    discs_px: tuple[float, ...]
    scales: dict[int, list[int]]

    def position(self, disc_px: Float) -> Float:
        """Return where each disc stands: 2.5 = half-way between rungs 2 and 3; disc_px's shape."""
        return np.asarray(np.interp(disc_px, self.discs_px, range(len(self.discs_px))), np.float32)

    def reach_px(self, factor: int) -> int:
        """Return how far the largest rung of a scale spreads, px of its picture."""
        return int(_narrowed_px(self.discs_px[self.scales[factor][-1]], factor) / 2) + 2

    def spread(self, layers: Float, position: Float, factor: int) -> Float:
        """Blur a part of the picture reduced by a factor, by the rungs of its scale.

        layers: float32 (height, width, n).  position: float32 (height, width).
        """
        total = np.zeros_like(layers)
        low, high = float(position.min()), float(position.max())
        for index in self.scales[factor]:
            if low < index + 1 and high > index - 1:
                share = np.clip(1 - np.abs(position - index), 0, 1)[..., None]
                disc = _narrowed_px(self.discs_px[index], factor)
                total += disc_blur(layers * share, disc, border=cv2.BORDER_REPLICATE)
        return total


def make_ladder(largest_px: float, short_side_px: int) -> Ladder:
    """Return the ladder up to a disc; the picture's short side limits how often it is halved.

    Examples
    --------
    >>> ladder = make_ladder(70.0, 4000)
    >>> [round(disc) for disc in ladder.discs_px[-4:]], ladder.scales[4]
    ([37, 49, 67, 90], [15, 16])
    """
    discs_px = [0.0, _SMALLEST_PX]
    while discs_px[-1] < largest_px:
        discs_px.append(discs_px[-1] * _STEP)
    scales: dict[int, list[int]] = {}
    factor = 1
    for index, disc in enumerate(discs_px):
        while disc >= 2 * factor * _WORKING_DISC_PX and short_side_px >= 8 * factor:
            factor *= 2
            scales[factor] = []
        scales.setdefault(factor, []).append(index)
    return Ladder(tuple(discs_px), scales)


def spread_halved(
    layers: Callable[[Window], Float], disc_px: Float, wanted: Bool, ladder: Ladder
) -> Float:
    """Return what the rungs of all scales but the first spread, at half the size.

    Parameters
    ----------
    layers : callable
        Gives a part of the full picture, float32 (height, width, 4).
    disc_px : ndarray
        float32 (height, width), disc by which each pixel spreads.
    wanted : ndarray
        bool (height, width), where the result is complete; far from it, it is not.
    ladder : Ladder

    Returns
    -------
    ndarray
        float32 (ceil(height / 2), ceil(width / 2), 4).
    """
    light = np.zeros((-(-disc_px.shape[0] // 2), -(-disc_px.shape[1] // 2), 4), np.float32)
    factors = sorted(ladder.scales)[1:]
    if not factors:
        return light

    def reduce_part(part: tuple[Window, Window]) -> None:
        own, _ = part
        put_reduced(light, layers(own), own, 2)

    each_part(reduce_part, tiles(disc_px.shape, _TILE, 0))
    totals, disc = [], disc_px
    for factor in factors:
        light = light if factor == 2 else reduce_by(light, 2)
        disc, wanted = reduce_by(disc, 2), _halved_wanted(wanted)
        totals.append(_at_one_scale(light, ladder.position(disc), wanted, ladder, factor))
    total = totals.pop()
    for finer in reversed(totals):
        total = finer + enlarge(total, 2, (finer.shape[1], finer.shape[0]))
    return total


def _at_one_scale(
    light: Float, position: Float, wanted: Bool, ladder: Ladder, factor: int
) -> Float:
    """Return what the rungs of one scale spread, at its size."""
    total = unwritten(light.shape)
    first = ladder.scales[factor][0]

    def spread(part: tuple[Window, Window]) -> None:
        own, near = part
        if wanted[own].any() and float(position[near].max()) > first - 1:
            spread_here = ladder.spread(light[near], position[near], factor)
            total[own] = spread_here[inside(own, near)]

    each_part(spread, tiles(position.shape, _TILE, ladder.reach_px(factor)))
    return total


def _halved_wanted(wanted: Bool) -> Bool:
    """Return where a halved picture is wanted: interpolation reads one cell beyond."""
    small = any_in_cells(wanted, 2).astype(np.uint8)
    return np.asarray(cv2.dilate(small, np.ones((3, 3), np.uint8)) > 0, np.bool_)


def _narrowed_px(disc_px: float, factor: int) -> float:
    """Return the disc for a picture halved until it is reduced by a factor, in its own px.

    Cells add a variance of n^2/12; each doubling back from cells of m px adds 3 m^2/16, in all
    (n^2 - 1)/4; a disc has D^2/16.
    """
    if factor == 1:
        return disc_px
    widened = 16 * (factor**2 / 12 + (factor**2 - 1) / 4)
    return float(np.sqrt(max(disc_px**2 - widened, 0.0))) / factor
