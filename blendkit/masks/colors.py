"""Foreground colours free of the light that shone past the edge, over a whole frame."""

import cv2
import numpy as np

from blendkit.filters.threads import each_part
from blendkit.filters.tiles import Window, inside, tiles
from blendkit.frame import Float
from blendkit.masks.color_levels import colors_under
from blendkit.memory import unwritten

_TILE, _MARGIN = 1024, 64
_SOLID = 0.995


def foreground_color(foreground: Float, alpha: Float) -> Float:
    """Estimate the straight foreground colour.

    Parameters
    ----------
    foreground : ndarray
        The foreground frame on the background grid, float32 (height, width, 3), linear.
    alpha : ndarray
        Matte, float32 (height, width).

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
        solid = cv2.erode(alpha[near], np.ones((3, 3), np.uint8))[inside(own, near)] > _SOLID
        if solid.all():
            color[own] = foreground[own]
            return
        found = colors_under(foreground[near], alpha[near])[inside(own, near)]
        color[own] = np.where(solid[..., None], foreground[own], found)

    each_part(free, tiles(alpha.shape, _TILE, _MARGIN))
    return color
