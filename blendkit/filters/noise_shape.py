"""How grain shares out between fine and coarse detail, and between the channels.

White noise leaves a sensor, not a camera's file: two of three values of each pixel are interpolated
from its neighbours (demosaicing), colour noise is smoothed, edges are sharpened, and the frame may
be stored in blocks.  So the spectrum is told in three smooth bands that add up to one, a covariance
of the channels in each: enough to say what a filter leaves of the grain, and to draw more of it.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache, cached_property

import numpy as np
from numpy.typing import NDArray
from scipy import fft

from blendkit.filters.bands import gaussian
from blendkit.frame import Float

BAND_STEPS_PX = (0.7, 1.0, 1.8)
"""Gaussians, one after the other, whose differences are the bands that grain is measured in."""
_SQUARE_PX = 512
_IMPULSE_PX = 64
_RADII = np.linspace(0, 0.5**0.5, 513)
"""Frequencies, cycles per px, up to a square's corner."""

Covariances = NDArray[np.float64]
"""(bands, 3, 3): a covariance of red, green, blue for each band."""


@dataclass(frozen=True, eq=False)
class NoiseShape:
    """Grain of deviation 1 in each channel.

    power: spectral density of each band, a covariance of red, green, blue; all ones on the
        diagonals and zeros elsewhere is white noise.
    fine: share of each channel's variance in the first difference of `BAND_STEPS_PX`, as measured;
        demosaicing leaves less there than three smooth bands can say.
    """

    power: Covariances
    fine: NDArray[np.float64]

    @cached_property
    def coarse(self) -> Float:
        """Return how much white noise would have the same grain in coarse detail, (3,).

        Below the third band there is none of its own: colour that a developer smoothed over more
        than some 3 px is told as a third to a half of what it is.
        """
        return np.asarray(np.sqrt(self.power[2].diagonal()), np.float32)

    def left_by(self, steps_px: Sequence[float]) -> Covariances:
        """Return covariances (step, 3, 3) of what each difference of two Gaussians lets through."""
        return np.asarray(np.einsum("sb,bij->sij", band_gains(tuple(steps_px)), self.power))

    def smooth_share(self, steps_px: Sequence[float]) -> float:
        """Return the share of the variance, mean of the channels, that Gaussians in turn leave."""
        left = np.einsum("b,bii->i", smooth_gains(tuple(steps_px)), self.power)
        return float(left.mean())

    def drawn(self, size: tuple[int, int], *, seed: int | tuple[int, ...]) -> Float:
        """Draw grain, float32 (height, width, 3); size: (height, width).

        One square of it is made and shifted at random, as video codecs do (Alliance for Open
        Media, AFGS1 specification): no slower than white noise drawn anew.
        """
        start = np.random.default_rng(seed).integers(0, _SQUARE_PX, 2)
        rows, columns = (
            (np.arange(count) + first) % _SQUARE_PX
            for count, first in zip(size, start.tolist(), strict=True)
        )
        return np.asarray(self._square[rows[:, None], columns])

    @cached_property
    def _square(self) -> Float:
        """Return grain that repeats without a seam: white noise through the root of the power."""
        density = np.einsum("rb,bij->rij", _weights(_RADII), self.power)
        values, vectors = np.linalg.eigh(density)
        roots = vectors * np.sqrt(np.maximum(values, 0))[..., None, :] @ vectors.swapaxes(-1, -2)
        at = np.rint(_radius(_SQUARE_PX) / _RADII[1]).astype(np.intp)[:, : _SQUARE_PX // 2 + 1]
        white = np.random.default_rng(0).standard_normal((_SQUARE_PX, _SQUARE_PX, 3), np.float32)
        spectrum = fft.rfft2(white, axes=(0, 1))
        filtered = np.einsum("yxij,yxj->yxi", roots.astype(np.float32)[at], spectrum)
        drawn = fft.irfft2(filtered, white.shape[:2], axes=(0, 1))
        return np.asarray(drawn / drawn.std(axis=(0, 1)), np.float32)


def band_parts(values: Float, steps_px: Sequence[float]) -> list[Float]:
    """Return the differences of Gaussians taken one after the other, finest first."""
    parts = []
    for step in steps_px:
        smooth = gaussian(values, step)
        parts.append(values - smooth)
        values = smooth
    return parts


@cache
def band_gains(steps_px: tuple[float, ...]) -> NDArray[np.float64]:
    """Return what each difference of two Gaussians passes of each band's power, (step, 3)."""
    return np.array([_passed(part) for part in band_parts(_impulse(), steps_px)])


@cache
def smooth_gains(steps_px: tuple[float, ...]) -> NDArray[np.float64]:
    """Return what Gaussians, one after the other, leave of each band's power, (3,)."""
    impulse = _impulse()
    return _passed(impulse - np.sum(band_parts(impulse, steps_px), axis=0))


def _impulse() -> Float:
    impulse = np.zeros((_IMPULSE_PX, _IMPULSE_PX), np.float32)
    impulse[_IMPULSE_PX // 2, _IMPULSE_PX // 2] = 1
    return impulse


def _passed(response: Float) -> NDArray[np.float64]:
    """Return what a filter of this response to an impulse passes of each band's power, (3,)."""
    power = np.square(np.abs(np.fft.fft2(response)))
    weights = _weights(_radius(_IMPULSE_PX))
    return np.asarray((power[..., None] * weights).mean(axis=(0, 1)))


def pixel_gains() -> NDArray[np.float64]:
    """Return each band's share in a pixel's variance, (3,)."""
    return np.asarray(_weights(_radius(_IMPULSE_PX)).mean(axis=(0, 1)))


def _weights(cycles: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return the bands at frequencies in cycles per px (...), (..., 3)."""
    fine, both = (
        np.exp(-2 * np.pi**2 * variance * np.square(cycles))
        for variance in (BAND_STEPS_PX[0] ** 2, BAND_STEPS_PX[0] ** 2 + BAND_STEPS_PX[1] ** 2)
    )
    return np.stack([1 - fine, fine - both, both], axis=-1)


def _radius(side: int) -> NDArray[np.float64]:
    """Return the frequencies of a square's Fourier transform, cycles per px, (side, side)."""
    cycles = np.fft.fftfreq(side)
    return np.asarray(np.hypot(cycles[:, None], cycles))


WHITE = NoiseShape(np.eye(3)[None].repeat(3, 0), band_gains(BAND_STEPS_PX)[0].sum().repeat(3))
