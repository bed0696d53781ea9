"""Grain: pasted and re-rendered regions get the grain of the background frame, no more, no less.

Too much is taken out by a local Wiener shrinkage over two undecimated scales, which leaves what is
stronger than the known noise (bark) alone (Mihcak et al. 1999, IEEE SPL 6(12),
doi:10.1109/97.803428).
What is missing is added as white noise of the background frame's measured variance.
"""

from collections.abc import Callable

import numpy as np

from blendkit.filters.bands import gaussian, window_mean
from blendkit.frame import Float

Sigma = Callable[[Float], Float]
"""Standard deviation of the noise expected at pixel values (..., 3), linear light."""

_SCALES_PX = (0.8, 1.6)


def reduce_grain(pixels: Float, sigma: Sigma) -> Float:
    """Return pixels, float32 (height, width, 3), with noise of the given size shrunk away."""
    base = gaussian(pixels, 2.0)
    noise = sigma(base)
    result, current = np.zeros_like(pixels), pixels
    for step, share in zip(_SCALES_PX, _band_shares(), strict=True):
        smooth = gaussian(current, step)
        band = current - smooth
        floor = np.square(noise) * share
        power = window_mean(np.square(band), 5, passes=1)
        # The square lets clear structure through whole; plain Wiener dulls it by some per cent.
        result += band * np.clip(1 - np.square(1.25 * floor / (power + 1e-12)), 0, 1)
        current = smooth
    return np.asarray(result + current, np.float32)


def _band_shares() -> list[float]:
    """Return the share of white noise's variance in each band of `reduce_grain`."""
    impulse = np.zeros((31, 31), np.float32)
    impulse[15, 15] = 1
    shares, current = [], impulse
    for step in _SCALES_PX:
        smooth = gaussian(current, step)
        shares.append(float(np.square(current - smooth).sum()))
        current = smooth
    return shares


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
