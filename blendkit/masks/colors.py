"""Foreground colours free of the light that shone past the edge.

Multi-level estimation after Germer, Uelwer, Conrad & Harmeling (2020),
doi:10.1109/ICPR48806.2021.9412977, as PyMatting implements it, in linear light: mixing at an edge
is linear in light, not in code values.
"""

import threading
import warnings

import cv2
import numpy as np

from blendkit.filters.tiles import inside, tiles
from blendkit.frame import Float

with warnings.catch_warnings():
    warnings.simplefilter("ignore")
    from pymatting import estimate_foreground_ml

_TILE, _MARGIN = 1536, 64
_SOLID = 0.995

# Where numba finds no OpenMP, two threads in its parallel loops at once end the process.
_ONE_AT_A_TIME = threading.Lock()


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
    color = np.zeros_like(foreground)
    for own, near in tiles(alpha.shape, _TILE, _MARGIN):
        here = alpha[own]
        if not here.any():
            continue
        solid = cv2.erode(alpha[near], np.ones((3, 3), np.uint8))[inside(own, near)] > _SOLID
        if solid.all():
            color[own] = foreground[own]
            continue
        with _ONE_AT_A_TIME:
            found = estimate_foreground_ml(foreground[near], alpha[near])
        free = np.maximum(found[inside(own, near)], 0)
        color[own] = np.where(solid[..., None], foreground[own], free)
    return color
