"""The background re-rendered: the sharp frame's background, blurred as the soft frame saw it.

Each pixel *spreads* with its own disc, so a sitter in focus does not smear into the soft trees
behind, as averaging within each pixel's own disc would make it.  The foreground is left out and the
gap it leaves is closed by normalised convolution (Knutsson & Westin 1993, CVPR,
doi:10.1109/CVPR.1993.341081).

Discs stand on a ladder of diameters, and each pixel is shared between two rungs.  Large rungs are
blurred in a reduced picture, small ones tile by tile, so little more than the result is ever held.
"""

from collections.abc import Iterator

import cv2
import numpy as np

from blendkit.filters.disc import disc_blur, disc_factor, narrowed_disc_px
from blendkit.filters.resample import enlarge, enlarged_part, put_reduced, reduce_by
from blendkit.filters.threads import each_part
from blendkit.filters.tiles import Window, inside, tile_side, tiles
from blendkit.frame import Bool, Float

_TILE = 384
_STEP = 1.35
_SMALLEST_PX = 1.0
_THIN = 0.05
"""Mass below which light is taken from wider surroundings."""


def rerender(
    sharp: Float, keep: Float, disc_px: Float, *, where: Bool | None = None
) -> tuple[Float, Float]:
    """Blur the sharp frame's background by a disc that varies over the picture.

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
        result is 0.  The grid of tiles hangs on the picture, so any machine gives the same bytes.

    Returns
    -------
    pixels, mass : ndarray
        float32 (height, width, 3) and (height, width): how much background each pixel rests on,
        about 1 where nothing was left out.
    """
    ladder = _ladder(float(disc_px.max()))
    scales = _by_scale(ladder, min(keep.shape))
    fine = scales.pop(1)
    coarse = {
        factor: _spread_reduced(sharp, keep, disc_px, ladder, rungs, factor, where)
        for factor, rungs in scales.items()
    }
    pixels, mass = np.zeros_like(sharp), np.zeros_like(keep)
    wide = max(max(keep.shape) // 300, 1)
    around = np.zeros((-(-keep.shape[0] // wide), -(-keep.shape[1] // wide), 4), np.float32)
    reach = int(ladder[fine[-1]] / 2) + 2

    def spread(part: tuple[Window, Window]) -> None:
        own, near = part
        if where is not None and not where[own].any():
            return
        position = _position(disc_px[near], ladder)
        total = _spread(_layers(sharp[near], keep[near]), position, fine, ladder)[inside(own, near)]
        for factor, light in coarse.items():
            total = total + enlarged_part(light, factor, own)
        pixels[own] = total[..., :3] / np.maximum(total[..., 3:], 1e-4)
        mass[own] = total[..., 3]
        put_reduced(around, total, own, wide)

    each_part(spread, tiles(keep.shape, tile_side(_TILE, wide), reach))
    _fill_thin(pixels, mass, around, wide, where)
    return pixels, mass


def _layers(sharp: Float, keep: Float) -> Float:
    """Return light that counts, and how much it counts, (height, width, 4)."""
    return np.asarray(np.dstack([sharp * keep[..., None], keep]), np.float32)


def _spread(layers: Float, position: Float, rungs: list[int], ladder: list[float]) -> Float:
    """Blur a part of the picture by the given rungs; position: see `_position`."""
    total = np.zeros_like(layers)
    low, high = float(position.min()), float(position.max())
    for index in rungs:
        if low < index + 1 and high > index - 1:
            share = np.clip(1 - np.abs(position - index), 0, 1)[..., None]
            total += disc_blur(layers * share, ladder[index], border=cv2.BORDER_REPLICATE)
    return total


def _spread_reduced(
    sharp: Float,
    keep: Float,
    disc_px: Float,
    ladder: list[float],
    rungs: list[int],
    factor: int,
    where: Bool | None,
) -> Float:
    """Blur by the rungs that are worked at a picture reduced by a factor; return it reduced."""
    small = np.zeros((-(-keep.shape[0] // factor), -(-keep.shape[1] // factor), 4), np.float32)

    def reduce_part(part: tuple[Window, Window]) -> None:
        own, _ = part
        put_reduced(small, _layers(sharp[own], keep[own]), own, factor)

    each_part(reduce_part, tiles(keep.shape, tile_side(_TILE, factor), 0))
    position = _position(reduce_by(disc_px, factor), ladder)
    wanted = None if where is None else reduce_by(where.astype(np.float32), factor) > 0
    total = np.zeros_like(small)
    for index in rungs:
        disc = narrowed_disc_px(ladder[index], factor)
        for own, near in _tiles(position, index, wanted, int(disc / 2) + 2):
            share = np.zeros(position[near].shape, np.float32)
            share[inside(own, near)] = np.clip(1 - np.abs(position[own] - index), 0, 1)
            total[near] += disc_blur(
                small[near] * share[..., None], disc, border=cv2.BORDER_REPLICATE
            )
    return total


def _position(disc_px: Float, ladder: list[float]) -> Float:
    """Return where each disc stands on the ladder: 2.5 = half-way between rungs 2 and 3."""
    return np.asarray(np.interp(disc_px, ladder, np.arange(len(ladder))), np.float32)


def _tiles(
    position: Float, index: int, wanted: Bool | None, reach: int
) -> Iterator[tuple[Window, Window]]:
    """Yield the tiles that hold a rung, and each with the surroundings that it spreads into."""
    for own, near in tiles(position.shape, _TILE, reach):
        if wanted is not None and not wanted[near].any():
            continue
        if float(position[own].min()) < index + 1 and float(position[own].max()) > index - 1:
            yield own, near


def _by_scale(ladder: list[float], short_side_px: int) -> dict[int, list[int]]:
    """Return the rungs of the ladder by the reduction at which each is blurred.

    >>> _by_scale([0.0, 10.0, 50.0, 120.0], 4000)
    {1: [0, 1], 2: [2], 5: [3]}
    """
    scales: dict[int, list[int]] = {}
    for index, disc in enumerate(ladder):
        scales.setdefault(disc_factor(disc, short_side_px), []).append(index)
    return scales


def _ladder(largest_px: float) -> list[float]:
    steps = [0.0, _SMALLEST_PX]
    while steps[-1] < largest_px:
        steps.append(steps[-1] * _STEP)
    return steps


def _fill_thin(pixels: Float, mass: Float, around: Float, factor: int, where: Bool | None) -> None:
    """Where hardly any mass is left, take light from wider surroundings instead.

    around: light and mass of the whole picture, reduced by a factor.
    """
    if float(mass.min()) >= _THIN:
        return
    wide = _from_surroundings(around)

    def fill(part: tuple[Window, Window]) -> None:
        own, _ = part
        wanted = where is None or bool(where[own].any())
        if wanted and float(mass[own].min()) < _THIN:
            trust = np.clip(mass[own] / _THIN, 0, 1)[..., None]
            filled = enlarged_part(wide, factor, own)
            light = filled[..., :3] / np.maximum(filled[..., 3:], 1e-6)
            pixels[own] = trust * pixels[own] + (1 - trust) * light

    each_part(fill, tiles(mass.shape, tile_side(_TILE, factor), 0))


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
