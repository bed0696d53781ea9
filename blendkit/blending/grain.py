"""Grain: pasted and re-rendered regions get the grain of the background frame, no more, no less.

Too much is taken out by a local Wiener shrinkage over three undecimated scales, which leaves what
is stronger than the known noise (bark) alone (Mihcak et al. 1999, IEEE SPL 6(12),
doi:10.1109/97.803428).
What is missing is added as white noise of the background frame's measured variance.
"""

from collections.abc import Callable
from functools import cache

import cv2
import numpy as np

from blendkit.filters.bands import gaussian, window_mean
from blendkit.frame import Float

Sigma = Callable[[Float], Float]
"""Standard deviation of the noise expected at pixel values (..., 3), linear light."""

_SCALES_PX = (0.8, 1.6, 3.2)
_WINDOW_PX = 5
_LIGHT_AND_COLOUR = np.array(
    [
        [3**-0.5, 3**-0.5, 3**-0.5],
        [2**-0.5, 0, -(2**-0.5)],
        [6**-0.5, -2 * 6**-0.5, 6**-0.5],
    ],
    np.float32,
)
"""Rotates red, green, blue to light and two colours; white noise stays white."""
_MARGINS = np.array([1.8, 2.5, 2.5], np.float32)
"""How far a window's power must rise above the noise's to count as structure: 25 samples vary."""


def without_noise(light: Float) -> Float:
    """Return the noise of light that has none: zeros, its shape."""
    return np.zeros_like(light)


def reduce_grain(pixels: Float, sigma: Sigma) -> Float:
    """Return pixels, float32 (height, width, 3), with noise of the given size shrunk away.

    Light is shrunk apart from colour: bark is mostly light, noise is as much colour.
    """
    base = gaussian(pixels, 2.0)
    noise = cv2.transform(np.square(sigma(base)), np.square(_LIGHT_AND_COLOUR))
    result, current = np.zeros_like(pixels), cv2.transform(pixels, _LIGHT_AND_COLOUR)
    for step, share in zip(_SCALES_PX, _band_shares(), strict=True):
        smooth = gaussian(np.asarray(current, np.float32), step)
        band = current - smooth
        power = window_mean(np.square(band), _WINDOW_PX, passes=1)
        # The square lets clear structure through whole; plain Wiener dulls it by some per cent.
        floor = _MARGINS * noise * share
        result += band * np.clip(1 - np.square(floor / (power + 1e-12)), 0, 1)
        current = smooth
    back = np.ascontiguousarray(_LIGHT_AND_COLOUR.T)
    return np.asarray(cv2.transform(result + current, back), np.float32)


@cache
def _band_shares() -> tuple[float, ...]:
    """Return the share of white noise's variance in each band of `reduce_grain`."""
    impulse = np.zeros((63, 63), np.float32)
    impulse[31, 31] = 1
    shares, current = [], impulse
    for step in _SCALES_PX:
        smooth = gaussian(current, step)
        shares.append(float(np.square(current - smooth).sum()))
        current = smooth
    return tuple(shares)


def add_grain(
    pixels: Float, target: Sigma, present: Float, *, seed: int | tuple[int, ...]
) -> Float:
    """Add white noise so that its deviation becomes the target.

    Parameters
    ----------
    pixels : ndarray
        float32 (height, width, 3), linear.
    target : callable
        Deviation wanted at each value.
    present : ndarray
        Share of the target deviation that is there already, 0 to 1, (height, width).
    seed : int or tuple of int
        Of the noise; the same seed and size give the same grain.

    Returns
    -------
    ndarray
        float32 (height, width, 3).
    """
    missing = np.sqrt(np.clip(1 - np.square(present), 0, 1))[..., None]
    noise = np.random.default_rng(seed).standard_normal(pixels.shape, np.float32)
    return np.asarray(pixels + missing * target(pixels) * noise, np.float32)
