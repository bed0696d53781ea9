"""How much softer a frame's colour is than its brightness.

JPEG stores colour at half the size, and developers smooth it to hide its noise: at an edge, colour
goes on where brightness has changed.  A colour line (within a small window two colours mix, so a
colour difference is linear in luminance: Omer & Werman 2004, doi:10.1109/CVPR.2004.1315267) holds
then for the luminance blurred as the colour is, and for no other.
"""

import numpy as np

from blendkit.filters.bands import gaussian
from blendkit.filters.threads import each_result
from blendkit.filters.tiles import Window, tiles
from blendkit.frame import Float, luminance

_TRIALS_PX = (0.0, 0.5, 0.7, 1.0, 1.4, 2.0, 2.8)
"""Gaussians tried, standard deviations, px."""
_SIDE_PX, _PARTS = 320, 6
"""Places looked at: squares, those with the strongest fine detail."""
_WINDOW_PX = 2.5
_QUIET, _STRONG = 15, 40.0
"""Windows taken for noise alone, percent, and the power over theirs from which an edge tells."""
_LEAST_WINDOWS = 50
_DARK = 0.01
_VISIBLE_PX, _WORTH = 0.7, 1.015
"""Trial, px, and gain in explained colour from which it counts as softer: frames whose colour is
as sharp gain up to 1.019 by the least trial, which nobody sees; JPEG with colour at half the size
gains 1.02 to 1.045 by the next ones, colour smoothed by 1 px 1.065 to 1.14."""
_READ_AS = 1.2
"""How large a known Gaussian of 1 to 1.7 px is read in boughs and leaves (1.0 to 1.4): bark and
what lies behind have colours of their own, which no line explains."""


def measure_color_blur(pixels: Float) -> float:
    """Return the Gaussian by which colour is softer than luminance, standard deviation, px.

    pixels: float32 (height, width, 3), linear.  0 where colour is as sharp, or too little tells.

    Examples
    --------
    >>> from blendkit.filters.bands import gaussian
    >>> rng = np.random.default_rng(4)
    >>> cover = (gaussian(rng.normal(size=(300, 300)).astype(np.float32), 4) > 0)[..., None]
    >>> sharp = np.where(cover, [0.4, 0.5, 0.7], [0.08, 0.06, 0.04]).astype(np.float32)
    >>> measure_color_blur(sharp)
    0.0
    >>> light = luminance(sharp)[..., None]
    >>> 1 < measure_color_blur(light + gaussian(sharp - light, 1.4)) < 2
    True
    """
    told = each_result(lambda part: _explained(pixels[part]), _detailed(pixels))
    explained = np.sum(told, axis=0)
    best = int(np.argmax(explained))
    if _TRIALS_PX[best] < _VISIBLE_PX or explained[best] <= _WORTH * explained[0]:
        return 0.0
    return _peak(explained) / _READ_AS


def _detailed(pixels: Float) -> list[Window]:
    """Return the places with the strongest fine detail, relative to their light."""
    parts = [own for own, _ in tiles(pixels.shape, _SIDE_PX, 0)]

    def detail(part: Window) -> float:
        light = luminance(pixels[part])
        fine = np.abs(gaussian(light, 1.0) - gaussian(light, 2.0))
        return float(np.sum(fine / (gaussian(light, 8.0) + 2 * _DARK)))

    strengths = np.asarray(each_result(detail, parts))
    return [parts[k] for k in np.argsort(-strengths, kind="stable")[:_PARTS]]


def _explained(pixels: Float) -> np.ndarray[tuple[int], np.dtype[np.float64]]:
    """Return the power of colour differences that luminance explains, by trial, (trials,)."""
    light = luminance(pixels)
    mean = gaussian(light, _WINDOW_PX)
    power = np.maximum(_covariance(light, light), 0) / (mean + _DARK)  # noise grows with the light
    quiet = power <= np.percentile(power[::3, ::3], _QUIET)
    strong = power > _STRONG * np.median(power[quiet])
    weight = strong / (np.square(mean) + _DARK**2)
    told = np.zeros(len(_TRIALS_PX))
    if np.count_nonzero(strong) < _LEAST_WINDOWS:
        return told
    noise = mean + _DARK
    for trial, sigma_px in enumerate(_TRIALS_PX):
        soft = gaussian(light, sigma_px)
        own = np.maximum(_covariance(soft, soft), 0)
        # Noise in the luminance would speak for blur, noise in both against it.
        clean = np.maximum(own - np.median((own / noise)[quiet]) * noise, 0.3 * own + 1e-12)
        for channel in (0, 2):
            difference = pixels[..., channel] - light
            shared = _covariance(difference, soft)
            shared -= np.median((shared / noise)[quiet]) * noise
            there = _covariance(difference, difference)
            told[trial] += float((np.minimum(np.square(shared) / clean, there) * weight).sum())
    return told


def _covariance(one: Float, other: Float) -> Float:
    """Return the covariance of two pictures in a window around each pixel."""
    mean = gaussian(one, _WINDOW_PX) * gaussian(other, _WINDOW_PX)
    return np.asarray(gaussian(one * other, _WINDOW_PX) - mean, np.float32)


def _peak(explained: np.ndarray[tuple[int], np.dtype[np.float64]]) -> float:
    """Return the trial at the top of a parabola through the best and its neighbours, px."""
    best = min(int(np.argmax(explained)), len(_TRIALS_PX) - 2)
    around = slice(best - 1, best + 2)
    bent, slope, _ = np.polyfit(np.asarray(_TRIALS_PX)[around], explained[around], 2)
    lowest, highest = _TRIALS_PX[1], _TRIALS_PX[-1]
    return float(np.clip(-slope / (2 * bent), lowest, highest)) if bent < 0 else highest
