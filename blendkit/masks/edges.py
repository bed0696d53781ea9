"""How sharp the foreground is in its own frame: the disc that its edges show."""

import cv2
import numpy as np

from blendkit.filters.bands import gaussian
from blendkit.filters.resample import reduce_by
from blendkit.filters.tiles import Window, inside, tiles
from blendkit.frame import Float, luminance
from blendkit.masks.evidence import exposure_scale

_TILE = 512
_LEAST_PIXELS = 60
_SHARP_EDGE_PX = 3.6
"""Disc that sharp simulated boughs read as: pixels, smoothing and bark's own contrast."""
_REACH_PX = 15
_TYPICAL = 0.35
_FLAT = 1e-4
_DARK = 4.0
"""Factor to middle grey from which a picture is dark, so that its contrasts are raised."""
_COARSER, _COARSE_LEAST_PX = (2, 4, 8), 3.6
"""Reductions at which edges are sought that are ramps at full size, and the disc that must be read
there, px of the reduced picture: sharp boughs read as up to 3.3 at any scale."""


def own_disc_px(aligned: Float, alpha: Float, *, otherwise_px: float | None = None) -> float | None:
    """Estimate the foreground's own disc at the finest scale at which its edges are no mere ramps.

    Parameters and return value as for `edge_disc_px`, which alone finds no edge of a disc of 20 px.
    otherwise_px: what is returned where no scale tells.

    Examples
    --------
    >>> from blendkit.filters.disc import disc_blur
    >>> square = np.zeros((400, 400, 3), np.float32)
    >>> square[100:300, 100:300] = 1
    >>> blurred = disc_blur(square, 24)
    >>> edge_disc_px(blurred, blurred[..., 0]) is None
    True
    >>> 20 < own_disc_px(blurred, blurred[..., 0]) < 28
    True
    """
    disc_px = edge_disc_px(aligned, alpha)
    for factor in _COARSER:
        if disc_px is not None:
            break
        read = edge_disc_px(reduce_by(aligned, factor), reduce_by(alpha, factor))
        if read is None:
            continue
        if read < _COARSE_LEAST_PX:
            break  # sharp, or too little to tell from it
        disc_px = factor * read
    return otherwise_px if disc_px is None else disc_px


def edge_disc_px(aligned: Float, alpha: Float) -> float | None:
    """Estimate the foreground's own disc from its edges in its own frame.

    A step of contrast c blurred by a disc of diameter D rises with a greatest slope of
    4 c / (pi D).  Edges are taken where the matte goes from full to empty within a few px; the
    picture, not the matte, gives the slope, because an unsure matte is soft where the bough is not.

    Parameters
    ----------
    aligned : ndarray
        The foreground frame, float32 (height, width, 3), linear.
    alpha : ndarray
        Matte, float32 (height, width).

    Returns
    -------
    float or None
        Disc diameter in px; None where too few edges can be measured.

    Examples
    --------
    >>> from blendkit.filters.disc import disc_blur
    >>> square = np.zeros((200, 200, 3), np.float32)
    >>> square[50:150, 50:150] = 1
    >>> blurred = disc_blur(square, 6)
    >>> 4 < edge_disc_px(blurred, blurred[..., 0]) < 7
    True
    """
    gain = max(exposure_scale(aligned) / _DARK, 1.0)
    there = tiles(alpha.shape, _TILE, _REACH_PX)
    found = [
        _widths(aligned[near] * np.float32(gain), alpha[near], inside(own, near))
        for own, near in there
        if (alpha[own] > 0).any()
    ]
    widths = np.concatenate([*found, np.zeros(0, np.float32)])
    if len(widths) < _LEAST_PIXELS:
        return None
    width = 4 / np.pi * float(np.quantile(widths, _TYPICAL))
    return float(np.sqrt(max(width**2 - _SHARP_EDGE_PX**2, 0.0)))


def _widths(aligned: Float, alpha: Float, middle: Window) -> Float:
    """Return contrast over greatest slope, px, at the edges in the middle of a tile, (n,)."""
    light = gaussian(np.sqrt(np.clip(luminance(aligned), 0, None)), 0.6)
    window = np.ones((_REACH_PX, _REACH_PX), np.uint8)
    contrast = cv2.dilate(light, window) - cv2.erode(light, window)
    slope = np.hypot(
        cv2.Sobel(light, cv2.CV_32F, 1, 0, ksize=3, scale=1 / 8),
        cv2.Sobel(light, cv2.CV_32F, 0, 1, ksize=3, scale=1 / 8),
    )
    steepest = cv2.dilate(slope, np.ones((5, 5), np.uint8))
    across = (cv2.dilate(alpha, window) > 0.95) & (cv2.erode(alpha, window) < 0.05)
    edge = across & (np.abs(alpha - 0.5) < 0.3) & (contrast > 0.1) & (steepest > _FLAT)
    at = edge[middle]
    return np.asarray(contrast[middle][at] / steepest[middle][at], np.float32)
