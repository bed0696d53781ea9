"""The background re-rendered: the sharp frame's background, blurred as the soft frame saw it.

Each pixel *spreads* with its own disc, so a sitter in focus does not smear into the soft trees
behind, as averaging within each pixel's own disc would make it.  The foreground is left out and the
gap it leaves is closed by normalised convolution (Knutsson & Westin 1993, CVPR,
doi:10.1109/CVPR.1993.341081).
"""

from collections.abc import Iterator

import cv2
import numpy as np

from blendkit.filters.disc import WORKING_DISC_PX, disc_blur
from blendkit.filters.resample import enlarge, reduce_by
from blendkit.filters.tiles import Window, inside, tiles
from blendkit.frame import Bool, Float

_TILE = 384
_STEP = 1.35
_SMALLEST_PX = 1.0


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
    layers = np.dstack([sharp, np.ones_like(keep)]) * keep[..., None]
    total = np.zeros_like(layers)
    size = (keep.shape[1], keep.shape[0])
    for factor, rungs in _by_scale(ladder, min(keep.shape)).items():
        small = reduce_by(layers, factor)
        position = _position(reduce_by(disc_px, factor), ladder)
        wanted = None if where is None else reduce_by(where.astype(np.float32), factor) > 0
        part = np.zeros_like(small)
        for index in rungs:
            # The cells and their enlargement widen as much as a disc of 2 cells.
            disc = np.sqrt(max(ladder[index] ** 2 - 4.0 * (factor > 1) * factor**2, 0)) / factor
            for own, near in _tiles(position, index, wanted, int(disc / 2) + 2):
                share = np.zeros(position[near].shape, np.float32)
                share[inside(own, near)] = np.clip(1 - np.abs(position[own] - index), 0, 1)
                part[near] += disc_blur(
                    small[near] * share[..., None], disc, border=cv2.BORDER_REPLICATE
                )
        total += enlarge(part, factor, size)
    return _normalised(total)


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
        factor = max(int(disc // WORKING_DISC_PX), 1)
        factor = factor if short_side_px >= 4 * factor else 1
        scales.setdefault(factor, []).append(index)
    return scales


def _ladder(largest_px: float) -> list[float]:
    steps = [0.0, _SMALLEST_PX]
    while steps[-1] < largest_px:
        steps.append(steps[-1] * _STEP)
    return steps


def _normalised(total: Float) -> tuple[Float, Float]:
    """Divide light by mass; where hardly any is left, take it from wider surroundings."""
    mass = total[..., 3]
    pixels = total[..., :3] / np.maximum(mass, 1e-4)[..., None]
    thin = mass < 0.05
    if thin.any():
        trust = np.clip(mass / 0.05, 0, 1)[..., None]
        pixels = trust * pixels + (1 - trust) * _from_surroundings(total)
    return np.asarray(pixels, np.float32), mass


def _from_surroundings(total: Float) -> Float:
    """Return light over mass at growing widths, each place from the narrowest that has some."""
    factor = max(max(total.shape) // 300, 1)
    level = reduce_by(total, factor)
    stack = [level]
    while min(stack[-1].shape[:2]) > 2:
        stack.append(reduce_by(stack[-1], 2))
    filled = stack[-1]
    for finer in reversed(stack[:-1]):
        size = (finer.shape[1], finer.shape[0])
        coarse = enlarge(filled, 2, size)
        filled = finer + (1 - np.clip(finer[..., 3:] / 0.2, 0, 1)) * 0.2 * coarse
    size = (total.shape[1], total.shape[0])
    wide = enlarge(filled, factor, size)
    return np.asarray(wide[..., :3] / np.maximum(wide[..., 3:], 1e-6), np.float32)
