"""The background re-rendered: the sharp frame's background, blurred as the soft frame saw it.

Each pixel *spreads* with its own disc, so a sitter in focus does not smear into the soft trees
behind, as averaging within each pixel's own disc would make it.  The foreground is left out and the
gap it leaves is closed by normalised convolution (Knutsson & Westin 1993, CVPR,
doi:10.1109/CVPR.1993.341081).

What large discs spread is kept at half the size, what small ones spread at full size, and a part of
the result is put together when it is asked for.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from blendkit.blending.disc_ladder import make_ladder, spread_halved
from blendkit.filters.patches import Patch, patched
from blendkit.filters.resample import enlarge, enlarged_part, put_reduced, reduce_by
from blendkit.filters.threads import each_part
from blendkit.filters.tiles import Window, inside, tile_side, tiles
from blendkit.frame import Bool, Float
from blendkit.memory import unwritten

_TILE = 384
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
    pixels, mass = unwritten(sharp.shape), unwritten(keep.shape)

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
    ladder = make_ladder(float(disc_px.max()), min(keep.shape))
    wanted = np.ones(keep.shape, np.bool_) if where is None else where

    def layers(part: Window) -> Float:
        light = patched(sharp, part, patches)
        return np.asarray(np.dstack([light * keep[part][..., None], keep[part]]), np.float32)

    coarse = spread_halved(layers, disc_px, wanted, ladder)
    fine = unwritten((*keep.shape, 4), np.float16)
    factor = max(max(keep.shape) // 300, 1)
    around = np.zeros((-(-keep.shape[0] // factor), -(-keep.shape[1] // factor), 4), np.float32)
    largest = ladder.scales[1][-1]

    def spread(part: tuple[Window, Window]) -> None:
        own, near = part
        if not wanted[own].any():
            return
        position = ladder.position(disc_px[near])
        total = enlarged_part(coarse, 2, own)
        if float(position.min()) < largest + 1:
            small = ladder.spread(layers(near), position, 1)[inside(own, near)]
            fine[own] = small
            total = total + small
        put_reduced(around, total, own, factor)

    each_part(spread, tiles(keep.shape, tile_side(_TILE, factor), ladder.reach_px(1)))
    return Rerendered(fine, coarse, wanted, _from_surroundings(around), factor)


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
