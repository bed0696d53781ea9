"""Foreground colours free of the light that shone past the edge, over a whole frame."""

import cv2
import numpy as np

from blendkit.filters.bands import gaussian
from blendkit.filters.threads import each_part
from blendkit.filters.tiles import Window, inside, tiles
from blendkit.frame import Float, luminance
from blendkit.masks.color_levels import colors_under
from blendkit.memory import unwritten

_TILE, _MARGIN = 1024, 64
_SOLID = 0.995


def foreground_color(foreground: Float, alpha: Float, *, color_blur_px: float = 0.0) -> Float:
    """Estimate the straight foreground colour.

    Parameters
    ----------
    foreground : ndarray
        The foreground frame on the background grid, float32 (height, width, 3), linear.
    alpha : ndarray
        Matte, float32 (height, width).
    color_blur_px : float
        Gaussian by which the frame's colour is softer than its luminance, see
        `sharpness.color_blur`: light from behind tints more than the matte's edge then.

    Returns
    -------
    ndarray
        float32 (height, width, 3); equals the frame where alpha is 1, computed in the tiles that
        hold some of the matte and 0 in the others.
    """
    color = unwritten(foreground.shape)

    def free(part: tuple[Window, Window]) -> None:
        own, near = part
        if not alpha[own].any():
            return
        cover = alpha[near]
        soft = gaussian(cover, color_blur_px)
        solid = cv2.erode(soft, np.ones((3, 3), np.uint8))[inside(own, near)] > _SOLID
        if solid.all():
            color[own] = foreground[own]
            return
        found = _separated(foreground[near], cover, soft)[inside(own, near)]
        color[own] = np.where(solid[..., None], foreground[own], found)

    each_part(free, tiles(alpha.shape, _TILE, _MARGIN))
    return color


def _separated(foreground: Float, alpha: Float, soft: Float) -> Float:
    """Return the foreground's colour where the matte may be softer for colour than for luminance.

    alpha, soft: the matte, and the matte as soft as the frame's colour; the same where it is sharp.
    """
    color = colors_under(foreground, alpha)
    if soft is alpha:
        return color
    light = luminance(color)[..., None]
    tint = colors_under(foreground - luminance(foreground)[..., None], soft, signed=True)
    return np.asarray(np.maximum(light + tint, 0), np.float32)
