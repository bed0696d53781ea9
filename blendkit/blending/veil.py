"""The veil: the sharp foreground of one frame, blurred as the other frame saw it."""

from collections.abc import Sequence

import cv2
import numpy as np

from blendkit.blending import BoughGroup, Veil
from blendkit.filters.disc import disc_factor, narrowed_disc_px
from blendkit.filters.resample import put_reduced
from blendkit.filters.rim_cut import cut_blur
from blendkit.filters.threads import each_part
from blendkit.filters.tiles import Window, tile_side, tiles
from blendkit.frame import Float
from blendkit.memory import unwritten

_TILE = 384


def make_veil(matte: Float, color: Float, groups: Sequence[BoughGroup]) -> Veil:
    """Blur the foreground with each group's disc at its displaced place.

    Parameters
    ----------
    matte : ndarray
        float32 (height, width), 0 to 1.
    color : ndarray
        Straight foreground colour, float32 (height, width, 3), linear.
    groups : sequence of BoughGroup

    Returns
    -------
    Veil
        Boughs that leave the frame are taken to go on beyond it (their rim pixels repeat).
    """
    parts = []
    for group in groups:
        factor = disc_factor(group.disc_px, min(matte.shape))
        small = _reduced(matte, color, None if len(groups) == 1 else group.share, factor)
        disc_px = narrowed_disc_px(group.disc_px, factor)
        x, y = group.shift_px
        small = cut_blur(small, disc_px, group.rim.reduced(factor))
        parts.append((shifted(small, (x / factor, y / factor)), factor))
    coverage = unwritten(matte.shape)
    veil = Veil(coverage, tuple(parts))

    def cover(part: tuple[Window, Window]) -> None:
        own, _ = part
        here = veil.at(own)[0]
        if here.any():
            coverage[own] = here

    each_part(cover, tiles(matte.shape, _TILE, 0))
    return veil


def _reduced(matte: Float, color: Float, share: Float | None, factor: int) -> Float:
    """Return light and coverage of a group, reduced, (height, width, 4)."""
    small = np.zeros((-(-matte.shape[0] // factor), -(-matte.shape[1] // factor), 4), np.float32)

    def put(part: tuple[Window, Window]) -> None:
        own, _ = part
        alpha = matte[own] if share is None else matte[own] * share[own]
        put_reduced(small, np.dstack([color[own] * alpha[..., None], alpha]), own, factor)

    each_part(put, tiles(matte.shape, tile_side(_TILE, factor), 0))
    return small


def shifted(values: Float, shift_px: tuple[float, float]) -> Float:
    """Return an array moved by (x, y) px; its rim repeats."""
    if shift_px == (0.0, 0.0):
        return values
    matrix = np.array([[1, 0, shift_px[0]], [0, 1, shift_px[1]]], np.float64)
    size = (values.shape[1], values.shape[0])
    moved = cv2.warpAffine(values, matrix, size, borderMode=cv2.BORDER_REPLICATE)
    return np.asarray(moved, np.float32)
