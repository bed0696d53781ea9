"""The background re-rendered: the sharp frame's background, blurred as the soft frame saw it.

Each pixel *spreads* with its own disc, so a sitter in focus does not smear into the soft trees
behind, as averaging within each pixel's own disc would make it.  The foreground is left out and the
gap it leaves is closed by normalised convolution (Knutsson & Westin 1993, CVPR,
doi:10.1109/CVPR.1993.341081).
"""

import cv2
import numpy as np

from blendkit.filters.disc import disc_blur
from blendkit.filters.resample import enlarge, reduce_by
from blendkit.frame import Float

_STEP = 1.35
_SMALLEST_PX = 1.0


def rerender(sharp: Float, keep: Float, disc_px: Float) -> tuple[Float, Float]:
    """Blur the sharp frame's background by a disc that varies over the picture.

    Parameters
    ----------
    sharp : ndarray
        Linear light, float32 (height, width, 3).
    keep : ndarray
        Share of each pixel that shows background, float32 (height, width): 1 - matte.
    disc_px : ndarray
        Disc of the background, float32 (height, width), px.

    Returns
    -------
    pixels, mass : ndarray
        float32 (height, width, 3) and (height, width): how much background each pixel rests on,
        about 1 where nothing was left out.
    """
    ladder = _ladder(float(disc_px.max()))
    position = np.interp(disc_px, ladder, np.arange(len(ladder))).astype(np.float32)
    layers = np.dstack([sharp, np.ones_like(keep)]) * keep[..., None]
    total = np.zeros_like(layers)
    for index, disc in enumerate(ladder):
        share = np.clip(1 - np.abs(position - index), 0, 1)
        if share.max() > 0:
            total += disc_blur(layers * share[..., None], disc, border=cv2.BORDER_REPLICATE)
    return _normalised(total)


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
