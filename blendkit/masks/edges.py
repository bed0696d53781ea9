"""How sharp the foreground is in its own frame: the disc that its edges show."""

import cv2
import numpy as np

from blendkit.frame import Float

_LEAST_PIXELS = 60
_SHARP_SLOPE = 0.85
"""Slope per px of a perfectly sharp edge after pixel averaging and one cubic resampling."""


def edge_disc_px(alpha: Float) -> float | None:
    """Estimate the foreground's own disc from the steepest slope of its matte.

    A step blurred by a disc of diameter D rises with a greatest slope of 4 / (pi D).  Only edges
    that reach full coverage within a few px count: a thin twig's slope is limited by its width.

    Parameters
    ----------
    alpha : ndarray
        Matte, float32 (height, width).

    Returns
    -------
    float or None
        Disc diameter in px; None where too few edges can be measured.

    Examples
    --------
    >>> from blendkit.filters.disc import disc_blur
    >>> square = np.zeros((200, 200), np.float32)
    >>> square[50:150, 50:150] = 1
    >>> 5.5 < edge_disc_px(disc_blur(square, 6)) < 6.5
    True
    """
    slope = np.hypot(
        cv2.Sobel(alpha, cv2.CV_32F, 1, 0, ksize=3, scale=1 / 8),
        cv2.Sobel(alpha, cv2.CV_32F, 0, 1, ksize=3, scale=1 / 8),
    )
    near = np.ones((17, 17), np.uint8)
    whole = cv2.dilate(cv2.erode(alpha, np.ones((5, 5), np.uint8)), near) > 0.98
    steepest = slope >= cv2.dilate(slope, np.ones((3, 3), np.uint8)) - 1e-6
    edges = slope[whole & steepest & (slope > 0.02)]
    if edges.size < _LEAST_PIXELS:
        return None
    typical = float(np.quantile(edges, 0.6))
    width = 4 / (np.pi * typical)
    sharp = 4 / (np.pi * _SHARP_SLOPE)
    return float(np.sqrt(max(width**2 - sharp**2, 0.0)))
