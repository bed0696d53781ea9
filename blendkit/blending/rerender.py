"""The background re-rendered: the sharp frame's background, blurred as the soft frame saw it.

Each pixel *spreads* with its own disc, so a sitter in focus does not smear into the soft trees
behind, as averaging within each pixel's own disc would make it.  The foreground is left out and the
gap it leaves is closed by normalised convolution (Knutsson & Westin 1993, CVPR,
doi:10.1109/CVPR.1993.341081).

Discs stand on a ladder of diameters, and each pixel is shared between two rungs.  Large rungs are
blurred in pictures halved once or more, small ones tile by tile; the halved pictures are summed
into one, and a part of the result is put together when it is asked for.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import cv2
import numpy as np

from blendkit.filters.disc import disc_blur
from blendkit.filters.patches import Patch, patched
from blendkit.filters.resample import enlarge, enlarged_part, put_reduced, reduce_by
from blendkit.filters.threads import each_part
from blendkit.filters.tiles import Window, inside, tile_side, tiles
from blendkit.frame import Bool, Float

_TILE = 384
_STEP = 1.35
_SMALLEST_PX = 1.0
_WORKING_DISC_PX = 16.0
"""Least disc in a halved picture: error of the ladder, a hard edge within 0.5 % of exact."""
_THIN = 0.05
"""Mass below which light is taken from wider surroundings."""
_NO_MASS = 1e-4


@dataclass(frozen=True, eq=False, slots=True)
class Rerendered:
    """Light that counts and how much it counts, (height, width, 4), in parts that add up.

    fine: what small discs spread, float16 at full size, 0 where there are none.
    coarse: what large discs spread, float32, at half the size.
    known: bool (height, width), where both are complete.
    wide, factor: the whole from wider surroundings, float32, reduced; for where mass is thin.
    """

    fine: Float
    coarse: Float
    known: Bool
    wide: Float
    factor: int

    def at(self, part: Window) -> tuple[Float, Float]:
        """Return pixels and mass of a part, float32 (height, width, 3) and (height, width)."""
        total = self.fine[part].astype(np.float32) + enlarged_part(self.coarse, 2, part)
        mass = total[..., 3]
        pixels = total[..., :3] / np.maximum(mass, _NO_MASS)[..., None]
        if float(mass.min()) < _THIN:
            trust = np.clip(mass / _THIN, 0, 1)[..., None]
            filled = enlarged_part(self.wide, self.factor, part)
            light = filled[..., :3] / np.maximum(filled[..., 3:], 1e-6)
            pixels = trust * pixels + (1 - trust) * light
        return pixels, mass


def rerender(
    sharp: Float,
    keep: Float,
    disc_px: Float,
    *,
    where: Bool | None = None,
    patches: Sequence[Patch] = (),
) -> tuple[Float, Float]:
    """Blur the sharp frame's background by a disc that varies over the picture.

    Parameters
    ----------
    sharp, keep, disc_px, where, patches : as for `rerendered`

    Returns
    -------
    pixels, mass : ndarray
        float32 (height, width, 3) and (height, width): how much background each pixel rests on,
        about 1 where nothing was left out.
    """
    behind = rerendered(sharp, keep, disc_px, where=where, patches=patches)
    pixels, mass = np.zeros_like(sharp), np.zeros_like(keep)

    def put(part: tuple[Window, Window]) -> None:
        own, _ = part
        if where is None or where[own].any():
            pixels[own], mass[own] = behind.at(own)

    each_part(put, tiles(keep.shape, _TILE, 0))
    return pixels, mass


def rerendered(
    sharp: Float,
    keep: Float,
    disc_px: Float,
    *,
    where: Bool | None = None,
    patches: Sequence[Patch] = (),
) -> Rerendered:
    """Spread the sharp frame's background by a disc that varies over the picture.

    Parameters
    ----------
    sharp : ndarray
        Linear light, float32 (height, width, 3).
    keep : ndarray
        Share of each pixel that shows background, float32 (height, width): 1 - matte.
    disc_px : ndarray
        Disc of the background, float32 (height, width), px.
    where : ndarray, optional
        bool (height, width), where the result is wanted; far from it nothing is computed and the
        result means nothing.  The grid of tiles hangs on the picture, so any machine gives the same
        bytes.
    patches : sequence of Patch
        Light to add to the sharp frame.

    Returns
    -------
    Rerendered
    """
    ladder = _ladder(float(disc_px.max()))
    scales = _by_scale(ladder, min(keep.shape))
    wanted = np.ones(keep.shape, np.bool_) if where is None else where

    def layers(part: Window) -> Float:
        light = patched(sharp, part, patches)
        return np.asarray(np.dstack([light * keep[part][..., None], keep[part]]), np.float32)

    coarse = _spread_halved(layers, disc_px, wanted, ladder, scales)
    fine = np.zeros((*keep.shape, 4), np.float16)
    factor = max(max(keep.shape) // 300, 1)
    around = np.zeros((*_reduced_shape(keep.shape, factor), 4), np.float32)
    reach = int(ladder[scales[1][-1]] / 2) + 2

    def spread(part: tuple[Window, Window]) -> None:
        own, near = part
        if not wanted[own].any():
            return
        position = _position(disc_px[near], ladder)
        total = enlarged_part(coarse, 2, own)
        if float(position.min()) < scales[1][-1] + 1:
            small = _spread(layers(near), position, scales[1], ladder)[inside(own, near)]
            fine[own] = small
            total = total + small
        put_reduced(around, total, own, factor)

    each_part(spread, tiles(keep.shape, tile_side(_TILE, factor), reach))
    return Rerendered(fine, coarse, wanted, _from_surroundings(around), factor)


def _spread_halved(
    layers: Callable[[Window], Float],
    disc_px: Float,
    wanted: Bool,
    ladder: list[float],
    scales: dict[int, list[int]],
) -> Float:
    """Return what the rungs of all scales but the first spread, at half the size."""
    light = np.zeros((*_reduced_shape(disc_px.shape, 2), 4), np.float32)
    factors = sorted(scales)[1:]
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
        narrowed = [_narrowed_px(rung, factor) for rung in ladder]
        position = _position(disc, ladder)
        totals.append(_spread_small(light, position, wanted, scales[factor], narrowed))
    total = totals.pop()
    for finer in reversed(totals):
        total = finer + enlarge(total, 2, (finer.shape[1], finer.shape[0]))
    return total


def _spread_small(
    light: Float, position: Float, wanted: Bool, rungs: list[int], discs_px: list[float]
) -> Float:
    """Return what the given rungs spread at one reduced size."""
    total = np.zeros_like(light)
    reach = int(discs_px[rungs[-1]] / 2) + 2

    def spread(part: tuple[Window, Window]) -> None:
        own, near = part
        if wanted[own].any() and float(position[near].max()) > rungs[0] - 1:
            total[own] = _spread(light[near], position[near], rungs, discs_px)[inside(own, near)]

    each_part(spread, tiles(position.shape, _TILE, reach))
    return total


def _halved_wanted(wanted: Bool) -> Bool:
    """Return where a halved picture is wanted: interpolation reads one cell beyond."""
    small = (reduce_by(wanted.astype(np.float32), 2) > 0).astype(np.uint8)
    return np.asarray(cv2.dilate(small, np.ones((3, 3), np.uint8)) > 0, np.bool_)


def _spread(layers: Float, position: Float, rungs: list[int], discs_px: list[float]) -> Float:
    """Blur a part of the picture by the given rungs; position: see `_position`."""
    total = np.zeros_like(layers)
    low, high = float(position.min()), float(position.max())
    for index in rungs:
        if low < index + 1 and high > index - 1:
            share = np.clip(1 - np.abs(position - index), 0, 1)[..., None]
            total += disc_blur(layers * share, discs_px[index], border=cv2.BORDER_REPLICATE)
    return total


def _position(disc_px: Float, ladder: list[float]) -> Float:
    """Return where each disc stands on the ladder: 2.5 = half-way between rungs 2 and 3."""
    return np.asarray(np.interp(disc_px, ladder, np.arange(len(ladder))), np.float32)


def _by_scale(ladder: list[float], short_side_px: int) -> dict[int, list[int]]:
    """Return the rungs of the ladder by the reduction at which each is blurred.

    Reductions double, and none is left out, so that each picture is the half of the last.

    >>> _by_scale([0.0, 10.0, 50.0, 120.0], 4000)
    {1: [0, 1], 2: [2], 4: [3]}
    """
    scales: dict[int, list[int]] = {}
    factor = 1
    for index, disc in enumerate(ladder):
        while disc >= 2 * factor * _WORKING_DISC_PX and short_side_px >= 8 * factor:
            factor *= 2
            scales[factor] = []
        scales.setdefault(factor, []).append(index)
    return scales


def _narrowed_px(disc_px: float, factor: int) -> float:
    """Return the disc for a picture halved until it is reduced by a factor, in its own px.

    Cells add a variance of n^2/12; each doubling back from cells of m px adds 3 m^2/16, in all
    (n^2 - 1)/4; a disc has D^2/16.
    """
    widened = 16 * (factor**2 / 12 + (factor**2 - 1) / 4)
    return float(np.sqrt(max(disc_px**2 - widened, 0.0))) / factor


def _ladder(largest_px: float) -> list[float]:
    steps = [0.0, _SMALLEST_PX]
    while steps[-1] < largest_px:
        steps.append(steps[-1] * _STEP)
    return steps


def _reduced_shape(shape: tuple[int, ...], factor: int) -> tuple[int, int]:
    return -(-shape[0] // factor), -(-shape[1] // factor)


def _from_surroundings(around: Float) -> Float:
    """Return light and mass at growing widths, each place from the narrowest that has some."""
    stack = [around]
    while min(stack[-1].shape[:2]) > 2:
        stack.append(reduce_by(stack[-1], 2))
    filled = stack[-1]
    for finer in reversed(stack[:-1]):
        size = (finer.shape[1], finer.shape[0])
        coarse = enlarge(filled, 2, size)
        filled = finer + (1 - np.clip(finer[..., 3:] / 0.2, 0, 1)) * 0.2 * coarse
    return np.asarray(filled, np.float32)
