"""Grain: pasted and re-rendered regions get the grain of the background frame, no more, no less.

Too much is taken out by a local Wiener shrinkage over three undecimated scales, which leaves what
is stronger than the known noise (bark) alone (Mihcak et al. 1999, IEEE SPL 6(12),
doi:10.1109/97.803428).
What is missing is added with the variance and the shape that were measured of the background frame.
"""

from typing import Protocol

import cv2
import numpy as np
from numpy.typing import NDArray

from blendkit.filters.bands import gaussian, window_mean
from blendkit.filters.channels import channel_sum
from blendkit.filters.noise_shape import NoiseShape
from blendkit.frame import Float


class Noise(Protocol):
    """Grain as it is known of a frame."""

    @property
    def shape(self) -> NoiseShape:
        """Return how it shares out between fine and coarse detail, and between channels."""
        ...

    def sigma(self, pixels: Float, /) -> Float:
        """Return the standard deviation expected at pixel values (..., 3), linear light."""
        ...


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


def reduce_grain(pixels: Float, noise: Noise) -> tuple[Float, Float]:
    """Return pixels with their noise shrunk away, and what is left of the noise.

    Light is shrunk apart from colour: bark is mostly light, noise is as much colour.

    Parameters
    ----------
    pixels : ndarray
        float32 (height, width, 3), linear.
    noise : Noise
        Of these pixels.

    Returns
    -------
    reduced : ndarray
        float32 (height, width, 3).
    left : ndarray
        float32 (height, width), share of the noise's variance, by what the shrinkage let through.
    """
    expected = _in_light_and_colour(
        noise.sigma(gaussian(pixels, 2.0)), noise.shape.left_by(_SCALES_PX)
    )
    result, current = np.zeros_like(pixels), cv2.transform(pixels, _LIGHT_AND_COLOUR)
    kept = np.zeros(pixels.shape[:2], np.float32)
    for number, step in enumerate(_SCALES_PX):
        smooth = gaussian(np.asarray(current, np.float32), step)
        band = current - smooth
        power = window_mean(np.square(band), _WINDOW_PX, passes=1)
        # The square lets clear structure through whole; plain Wiener dulls it by some per cent.
        floor = _MARGINS * expected[..., number, :]
        gain = np.clip(1 - np.square(floor / (power + 1e-12)), 0, 1)
        result += band * gain
        kept += channel_sum(np.square(gain) * expected[..., number, :])
        current = smooth
    back = np.ascontiguousarray(_LIGHT_AND_COLOUR.T)
    reduced = cv2.transform(result + current, back)
    smooth_share = noise.shape.smooth_share(_SCALES_PX)
    passed = kept / (expected.sum(axis=(2, 3)) + 1e-12)
    left = smooth_share + (1 - smooth_share) * passed
    return np.asarray(reduced, np.float32), np.asarray(left, np.float32)


def _in_light_and_colour(sigma: Float, covariances: NDArray[np.float64]) -> Float:
    """Return the variances of light and colours in each band, (height, width, bands, 3).

    sigma: deviation of the channels, (height, width, 3).  covariances: (bands, 3, 3), of the
    channels at deviation 1.
    """
    # sum over c, d of row_c row_d C_cd s_c s_d: linear in the products of deviations.
    rows = _LIGHT_AND_COLOUR.astype(np.float64)
    shares = np.einsum("kc,kd,bcd->cdbk", rows, rows, covariances)
    one, other = np.triu_indices(3)
    twice = np.where(one == other, 1, 2)[:, None, None]
    products = sigma[..., one] * sigma[..., other]
    found = products @ (twice * shares[one, other]).reshape(6, -1).astype(np.float32)
    return np.asarray(found.reshape(*sigma.shape[:2], len(covariances), 3), np.float32)


def add_grain(
    pixels: Float, wanted: Noise, present: Float, *, seed: int | tuple[int, ...]
) -> Float:
    """Add noise so that its deviation becomes the one wanted.

    Parameters
    ----------
    pixels : ndarray
        float32 (height, width, 3), linear.
    wanted : Noise
        Deviation at each value, and shape.
    present : ndarray
        Share of that deviation that is there already, 0 to 1, (height, width).
    seed : int or tuple of int
        Of the noise; the same seed and size give the same grain.

    Returns
    -------
    ndarray
        float32 (height, width, 3).
    """
    missing = np.sqrt(np.clip(1 - np.square(present), 0, 1))[..., None]
    noise = wanted.shape.drawn(pixels.shape[:2], seed=seed)
    return np.asarray(pixels + missing * wanted.sigma(pixels) * noise, np.float32)
