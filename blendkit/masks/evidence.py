"""What the matte network looks at: one stack of planes from both frames, the hint and a prior.

The same functions feed training and use.  Light enters as a square root, scaled by one factor for
the frame so that its median luminance is 0.18: the network sees neither exposure nor units.
"""

import cv2
import numpy as np
from numpy.typing import NDArray

from blendkit.filters.bands import gaussian
from blendkit.filters.threads import each_part
from blendkit.frame import Bool, Float, luminance

PLANES = 10
"""sqrt light of foreground frame (3) and background frame (3), hint, prior, grain, colour."""
PRIOR = 7
"""Index of the prior's plane."""
NO_PRIOR = 0.5
_MIDDLE_GREY = 0.18
_GRAIN_SCALE, _MOST_GRAIN = 20.0, 2.0
_USUAL_CAST_EV = 1.25
"""How far the median of red or blue may lie off green where nothing casts a colour."""
_BINS = (20, 14, 14)
_ROWS, _REACH = 64, 4
"""Rows at once: what they need stays in the processor's cache."""
_PER_E_FOLD = np.float32(1 / np.log(2))
_LEAST_PIXELS = 200
_CLEAR_QUANTILE = 0.3
_NO_LIGHT = 1e-3


def exposure_scale(background: Float) -> float:
    """Return the factor that brings the median luminance of a frame to middle grey."""
    return float(_MIDDLE_GREY / max(float(np.median(luminance(background[::8, ::8]))), 1e-3))


def colour_evidence(foreground: Float, hint: Float, scale: float) -> Float:
    """Return how unlike the unpainted surroundings each painted pixel's colour is, 0 to 1.

    Inside a rough mask foreground and background are mixed; outside it all is background.  With R
    the ratio of the two colour densities and q the share of background inside, the chance of
    foreground is 1 - q / R (Elkan & Noto 2008, doi:10.1145/1401890.1401920, roles swapped).

    Parameters
    ----------
    foreground : ndarray
        Foreground frame, float32 (height, width, 3), linear.
    hint : ndarray
        1 where foreground may stand, float32 (height, width).
    scale : float
        From `exposure_scale`.

    Returns
    -------
    ndarray
        float32 (height, width); 0 outside the hint, and everywhere if too little is left outside.
    """
    inside = hint > 0.5
    chance = np.zeros(hint.shape, np.float32)
    if inside.sum() < _LEAST_PIXELS or (~inside).sum() < _LEAST_PIXELS:
        return chance
    bins = colour_bins(foreground, scale)
    front, back = (colour_density(bins, where) for where in (inside, ~inside))
    ratio = ((front + 1e-6) / (back + 1e-6))[bins[inside]]
    clear = min(float(np.quantile(ratio, _CLEAR_QUANTILE)), 0.95)
    chance[inside] = np.clip(1 - clear / ratio, 0, 1)
    return chance


def colour_bins(foreground: Float, scale: float) -> NDArray[np.int32]:
    """Return the bin of each pixel: luminance and two ratios of channels, on log scales.

    foreground: float32 (height, width, 3), linear; scale: from `exposure_scale`.
    """
    index = np.zeros(foreground.shape[:2], np.int32)
    cast = _cast(foreground)

    def sort(top: int) -> None:
        rows, first = slice(top, top + _ROWS), max(top - _REACH, 0)
        light = gaussian(foreground[first : top + _ROWS + _REACH], 0.7)
        light = light[top - first : top - first + _ROWS] * np.float32(scale)
        # OpenCV's logarithm is several times as fast as numpy's, and as exact as float32 is.
        logs = cv2.log(np.maximum(light, 1e-3)) * _PER_E_FOLD
        red, green, blue = cv2.split(logs)
        red, blue = red - cast[0], blue - cast[1]
        axes = (
            (((red + green + blue) / 3) + 9) / 10.5,
            (red - green + 2) / 4,
            (blue - green + 2) / 4,
        )
        for values, count in zip(axes, _BINS, strict=True):
            bins = np.clip((values * count).astype(np.int32), 0, count - 1)
            index[rows] = index[rows] * count + bins

    each_part(sort, range(0, len(index), _ROWS))
    return index


def _cast(foreground: Float) -> tuple[float, float]:
    """Return by how much red and blue lie off green in the whole frame beyond what woods do, EV.

    The bins reach two stops to each side; in lamplight a half of the picture lies beyond.
    """
    logs = np.log2(np.maximum(foreground[::8, ::8], 1e-4))
    off = np.median(logs[..., [0, 2]] - logs[..., 1:2], axis=(0, 1))
    red, blue = off - np.clip(off, -_USUAL_CAST_EV, _USUAL_CAST_EV)
    return float(red), float(blue)


def colour_density(bins: NDArray[np.int32], weight: Float | Bool) -> NDArray[np.float64]:
    """Return the smoothed density of the weighted pixels over all bins, summing to 1."""
    tops = range(0, len(bins), _ROWS)
    strips = np.zeros((len(tops), int(np.prod(_BINS))))

    def add_up(number: int) -> None:
        rows = slice(tops[number], tops[number] + _ROWS)
        strips[number] = np.bincount(bins[rows].ravel(), weight[rows].ravel(), strips.shape[1])

    each_part(add_up, range(len(tops)))
    counts = strips.sum(axis=0).reshape(_BINS)
    for axis in range(3):
        moved = np.moveaxis(counts, axis, 0).reshape(counts.shape[axis], -1)
        blurred = cv2.GaussianBlur(moved, (1, 5), 0.1, sigmaY=0.9, borderType=cv2.BORDER_REPLICATE)
        smooth = np.asarray(blurred, np.float64)
        shape = np.moveaxis(counts, axis, 0).shape
        counts = np.asarray(np.moveaxis(smooth.reshape(shape), 0, axis), np.float64)
    return np.asarray(counts / counts.sum(), np.float64).ravel()


def grain_plane(grain: float, scale: float) -> float:
    """Return what each network is told of the grain, 0 to 2.

    grain: noise of the foreground frame at middle grey, linear standard deviation; scale: from
    `exposure_scale`.
    """
    return min(grain * scale * _GRAIN_SCALE, _MOST_GRAIN)


def least_coverage(shown: Float, plate: Float) -> Float:
    """Return the coverage below which the foreground would have to be darker than black.

    From S = a F + (1 - a) P and F >= 0 in each channel follows a >= 1 - S / P, whatever colour the
    foreground has: a golden leaf before blue sky shows it in the blue.

    shown, plate: S and P, float32 (height, width, 3), linear.  Returns float32 (height, width).
    """
    darker = 1 - (np.maximum(shown, 0) / np.maximum(plate, _NO_LIGHT)).min(axis=2)
    return np.asarray(np.clip(darker, 0, 1), np.float32)


def network_planes(
    background: Float,
    foreground: Float,
    hint: Float,
    prior: Float,
    colour: Float,
    grain: float,
    scale: float,
) -> Float:
    """Stack the planes.

    Parameters
    ----------
    background, foreground : ndarray
        Linear light on one grid, float32 (height, width, 3).
    hint : ndarray
        1 where foreground may stand (a rough mask), 0 where it does not, float32 (height, width).
    prior : ndarray
        Matte from a smaller scale, 0 to 1, or NO_PRIOR everywhere.
    colour : ndarray
        From `colour_evidence`.
    grain : float
        Standard deviation of the foreground frame's noise at middle grey, linear light.
    scale : float
        From `exposure_scale`.

    Returns
    -------
    ndarray
        float32 (PLANES, height, width).
    """
    planes = np.empty((PLANES, *hint.shape), np.float32)
    for first, pixels in ((0, foreground), (3, background)):
        root = np.sqrt(np.clip(pixels * scale, 0, 4))
        planes[first : first + 3] = np.moveaxis(root, 2, 0) - 0.5
    planes[6] = hint
    planes[PRIOR] = prior - NO_PRIOR
    planes[8] = grain_plane(grain, scale)
    planes[9] = colour
    return planes
