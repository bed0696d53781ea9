"""Grain: variance = slope * light + floor per channel, measured on one frame.

The pixel differences of a smooth place are noise.  A second difference cancels plain gradients, a
median over small blocks cancels the few edges, and the lower quartile of the blocks of one tone
cancels texture.  After Foi et al. (2008), IEEE TIP 17(10), doi:10.1109/TIP.2008.2001399.  What a
camera's demosaicing hides from differences of neighbours is told by the `noise_shape`.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from blendkit.filters.noise_shape import WHITE, NoiseShape
from blendkit.filters.threads import each_part
from blendkit.frame import Float
from blendkit.sharpness.noise_shape import QuietPlaces, measure_shape, quiet_places

_BLOCK = 8
_TONES = 12
_ENOUGH_BLOCKS = 40
_MEDIAN_CHI2 = 1.4826**2
_NOTHING_TOLD = 100.0


@dataclass(frozen=True, slots=True)
class NoiseModel:
    """Variance of linear light: slope[c] * light + floor[c], c = red, green, blue.

    shape: how it shares out between fine and coarse detail.
    """

    slope: tuple[float, float, float]
    floor: tuple[float, float, float]
    shape: NoiseShape = WHITE

    def sigma(self, pixels: Float) -> Float:
        """Return the standard deviation expected at each value of pixels (..., 3)."""
        slope, floor = (np.array(part, np.float32) for part in (self.slope, self.floor))
        return np.asarray(
            np.sqrt(np.maximum(slope * np.maximum(pixels, 0) + floor, 1e-12)), np.float32
        )

    def in_light(self, gain: tuple[float, ...]) -> "NoiseModel":
        """Return the model of the frame multiplied by a gain per channel.

        >>> NoiseModel((1.0, 1.0, 1.0), (1.0, 1.0, 1.0)).in_light((2.0, 2.0, 2.0)).floor
        (4.0, 4.0, 4.0)
        """
        slope = [a * g for a, g in zip(self.slope, gain, strict=True)]
        floor = [b * g * g for b, g in zip(self.floor, gain, strict=True)]
        return replace(self, slope=_three(slope), floor=_three(floor))

    def scaled(self, by: Sequence[float]) -> "NoiseModel":
        """Return the model with each channel's variance times a factor."""
        slope, floor = (
            [value * factor for value, factor in zip(part, by, strict=True)]
            for part in (self.slope, self.floor)
        )
        return replace(self, slope=_three(slope), floor=_three(floor))

    def shaped(self, shape: NoiseShape) -> "NoiseModel":
        """Return the model of as much fine grain, shared out in another way."""
        return replace(self.scaled((self.shape.fine / shape.fine).tolist()), shape=shape)

    def coarse_sigma(self, pixels: Float) -> Float:
        """Return the deviation of white noise that has as much grain in coarse detail.

        It is what a reduced picture, or one seen through a filter of a few px, has to be told.
        """
        return self.sigma(pixels) * self.shape.coarse

    @property
    def at_middle_grey(self) -> float:
        """Return the deviation at a light of 0.18 of white noise with as much fine grain.

        The mean of the channels.  The networks were shown white noise: told the larger coarse
        deviation of a demosaiced frame, they keep more that stands behind.
        """
        told = self.sigma(np.full(3, 0.18, np.float32)) * np.sqrt(self.shape.fine / WHITE.fine)
        return float(told.mean())


def _three(values: Sequence[float]) -> tuple[float, float, float]:
    red, green, blue = values
    return red, green, blue


NO_NOISE = NoiseModel((0.0, 0.0, 0.0), (0.0, 0.0, 0.0))


def measure_noise(pixels: Float) -> NoiseModel:
    """Measure the grain of a frame.

    Parameters
    ----------
    pixels : ndarray
        Linear light, float32 (height, width, 3); of a strip, which is all that two frames may
        share, what is there is mirrored until it fills a block.

    Returns
    -------
    NoiseModel
        Texture that fills every block of a tone reads as grain; of demosaiced grain 0.85 to 1 is
        told, of what a lossy file left a third and more.
    """
    pixels = _filling_a_block(pixels)
    height, width = (n - n % (2 * _BLOCK) for n in pixels.shape[:2])
    step = max(1, int(np.sqrt(height * width / 4e6)))
    fits = [(0.0, 0.0)] * 3

    def fit(channel: int) -> None:
        fits[channel] = _fit_channel(_blocks(pixels[:height, :width, channel], step))

    each_part(fit, range(3))
    (red, green, blue) = fits
    told = NoiseModel((red[0], green[0], blue[0]), (red[1], green[1], blue[1]))
    return _at_quiet_places(told, quiet_places(pixels))


def _at_quiet_places(told: NoiseModel, quiet: QuietPlaces) -> NoiseModel:
    """Return the model as quiet places have it: their shape, and as much fine grain.

    told: by differences of neighbours, from which demosaicing hides most of the noise, and a lossy
    file all of it; then the quiet places' own is taken for all tones.
    """
    if not quiet.enough:
        return told
    shape = measure_shape(quiet)
    expected = np.square(told.sigma(quiet.light.astype(np.float32))).astype(np.float64)
    more = np.median(quiet.fine / expected, axis=0)
    if more.max() > _NOTHING_TOLD:
        flat = np.median(quiet.fine, axis=0)
        told, more = NoiseModel((0.0,) * 3, _three(flat.tolist())), np.ones(3)
    return replace(told.scaled((more / shape.fine).tolist()), shape=shape)


def _filling_a_block(pixels: Float) -> Float:
    lacking = [(0, max(0, 2 * _BLOCK - n)) for n in pixels.shape[:2]]
    if not any(more for _, more in lacking):
        return pixels
    return np.pad(pixels, (*lacking, (0, 0)), mode="symmetric")


def _blocks(channel: Float, step: int) -> tuple[NDArray[np.float32], NDArray[np.float32]]:
    """Return mean and noise variance of blocks, every step-th block row."""
    rows, columns = channel.shape[0] // _BLOCK, channel.shape[1] // _BLOCK
    tiles = channel[: rows * _BLOCK, : columns * _BLOCK].reshape(rows, _BLOCK, columns, _BLOCK)
    cut = tiles[::step].transpose(0, 2, 1, 3).reshape(-1, _BLOCK, _BLOCK)
    # Mixed second difference of a 2x2 cell: variance 4 for white noise, 0 for any gradient.
    mixed = cut[:, ::2, ::2] - cut[:, 1::2, ::2] - cut[:, ::2, 1::2] + cut[:, 1::2, 1::2]
    spread = np.median(np.abs(mixed), axis=(1, 2)) ** 2 * _MEDIAN_CHI2 / 4
    return cut.mean(axis=(1, 2)), spread


def _fit_channel(
    blocks: tuple[NDArray[np.float32], NDArray[np.float32]],
) -> tuple[float, float]:
    """Fit slope and floor through the quiet blocks of each tone."""
    means, spreads = blocks
    # A sky that was clipped and then pulled down, or a grey border, holds no grain to tell of.
    usable = (means > 0.002) & (means < 0.95) & (spreads > 0)
    means, spreads = means[usable], spreads[usable]
    if len(means) < _ENOUGH_BLOCKS:
        return 0.0, float(np.median(spreads)) if len(spreads) else 0.0
    edges = np.quantile(means, np.linspace(0, 1, _TONES + 1))
    tone, quiet = [], []
    for low, high in pairwise(edges):
        inside = (means >= low) & (means <= high)
        if inside.sum() >= _ENOUGH_BLOCKS // 2:
            tone.append(float(means[inside].mean()))
            quiet.append(float(np.quantile(spreads[inside], 0.25)) / _QUARTILE_BIAS)
    return _line(np.array(tone), np.array(quiet), float(np.median(spreads)))


_QUARTILE_BIAS = 0.676
"""Lower quartile of the block estimator for white noise of variance 1 (16 differences a block),
drawn 400,000 times."""


def _line(
    tone: NDArray[np.float64], variance: NDArray[np.float64], fallback: float
) -> tuple[float, float]:
    if len(tone) < 2:
        return 0.0, fallback
    # Relative errors are alike in all tones, so weigh by 1 / variance.
    weight = 1 / (variance + 1e-9)
    rows = np.column_stack([tone, np.ones_like(tone)]) * weight[:, None]
    slope, floor = np.linalg.lstsq(rows, variance * weight, rcond=None)[0]
    if slope < 0:
        return 0.0, float(np.median(variance))
    return float(slope), float(max(floor, 0.0))
