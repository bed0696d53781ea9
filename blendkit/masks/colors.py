"""Foreground colours free of the light that shone past the edge.

Multi-level estimation after Germer, Uelwer, Conrad & Harmeling (2020),
doi:10.1109/ICPR48806.2021.9412977, as PyMatting implements it, in linear light: mixing at an edge
is linear in light, not in code values.
"""

import warnings

import cv2
import numpy as np

from blendkit.frame import Float

with warnings.catch_warnings():
    warnings.simplefilter("ignore")
    from pymatting import estimate_foreground_ml


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
        float32 (height, width, 3); equals the frame where alpha is 1, computed in the box around
        the matte only and 0 outside it.
    """
    color = np.zeros_like(foreground)
    rows, columns = np.nonzero(alpha > 0)
    if len(rows) == 0:
        return color
    pad = 16
    box = (
        slice(max(int(rows.min()) - pad, 0), int(rows.max()) + pad + 1),
        slice(max(int(columns.min()) - pad, 0), int(columns.max()) + pad + 1),
    )
    found = estimate_foreground_ml(
        np.ascontiguousarray(foreground[box], np.float64),
        np.ascontiguousarray(alpha[box], np.float64),
    )
    color[box] = np.clip(found, 0, None)
    solid = cv2.erode(alpha, np.ones((3, 3), np.uint8)) > 0.995
    color[solid] = foreground[solid]
    return color
