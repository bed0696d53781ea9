"""The shape of a frame's grain, measured where the frame shows next to nothing else.

Small places are taken whose neighbours are quiet, not those that are quiet themselves: what is
chosen by its own grain has little of it.  What is left there of the picture is mostly light, alike
in all channels, and coarse; grain that reaches as far down is each channel's own, as the sensor's
photosites are.  So in the coarse band the one factor that all channels share is taken out
(Spearman 1904, Am. J. Psychology 15(2): three tests of one ability).
"""

from dataclasses import dataclass
from itertools import islice

import cv2
import numpy as np
from numpy.typing import NDArray

from blendkit.filters.noise_shape import (
    BAND_STEPS_PX,
    WHITE,
    Covariances,
    NoiseShape,
    band_gains,
    band_parts,
    pixel_gains,
)
from blendkit.filters.resample import reduce_by
from blendkit.filters.tiles import Window, inside, with_margin
from blendkit.frame import Float

_SIDE_PX, _MARGIN_PX, _REDUCED = 16, 8, 4
_QUIETEST, _FEWEST, _MOST = 0.06, 24, 400
_STRIP_PX, _ENOUGH_PX = 20 * _SIDE_PX, 4e6
_DARKEST, _BRIGHTEST = 0.01, 0.9
_LEAST = 1e-6
"""Of a band's power: demosaicing leaves next to none at the finest."""
_GREY = 0.99
"""Correlation of the channels' fine grain from which a picture counts as grey."""
_STEEPEST = 2.0
_REST = 1 / (4 * np.pi * sum(step**2 for step in BAND_STEPS_PX))
"""What all the Gaussians, one after the other, leave of white noise's variance."""


@dataclass(frozen=True, eq=False, slots=True)
class QuietPlaces:
    """What a frame's quiet places hold.

    light: mean of each channel, (places, 3).
    bands: covariances of the channels in each band of `BAND_STEPS_PX`, (places, 3, 3, 3).
    whole: variances of the three bands together, (places, 3).
    """

    light: NDArray[np.float64]
    bands: NDArray[np.float64]
    whole: NDArray[np.float64]

    @property
    def enough(self) -> bool:
        """Return whether there are enough of them to tell anything."""
        return len(self.light) >= _FEWEST

    @property
    def fine(self) -> NDArray[np.float64]:
        """Return the variance of the fine band, (places, 3)."""
        return np.asarray(self.bands[:, 0].diagonal(axis1=1, axis2=2))


def quiet_places(pixels: Float) -> QuietPlaces:
    """Look for places that show next to nothing but grain.

    pixels: linear light, float32 (height, width, 3).  Places without any grain are left out.
    """
    places = _between_quiet_neighbours(pixels)
    light = np.array([pixels[place].mean(axis=(0, 1)) for place in places], np.float64)
    parts = np.array([_covariances(pixels, place) for place in places], np.float64)
    parts = parts.reshape(-1, len(BAND_STEPS_PX) + 1, 3, 3)
    return QuietPlaces(light.reshape(-1, 3), parts[:, :-1], parts[:, -1].diagonal(axis1=1, axis2=2))


def measure_shape(quiet: QuietPlaces) -> NoiseShape:
    """Measure how a frame's grain shares out; too few quiet places give white noise."""
    if not quiet.enough:
        return WHITE
    unit = np.sqrt(quiet.fine)
    shares = np.median(quiet.bands / (unit[:, None, :, None] * unit[:, None, None, :]), axis=0)
    gains = band_gains(BAND_STEPS_PX)
    # In a picture turned to grey all is shared, and nothing tells its grain from its light.
    unshared = np.diagonal if shares[0].min() > _GREY else _unshared
    parted = [shares[0], shares[1], np.diag(unshared(shares[2]))]
    # What the channels share in the middle band is grain as well: smoothed colour, sharpened light.
    middle = _possible(np.linalg.solve(gains, np.reshape(parted, (3, 9)))[1].reshape(3, 3))
    lower = np.linalg.solve(gains, [unshared(part) for part in shares])[2]
    coarse = _possible(middle - np.diag(unshared(middle)) + np.diag(lower))
    fine = (shares[0] - gains[0, 1] * middle - gains[0, 2] * coarse) / gains[0, 0]
    power = np.stack([_possible(fine), middle, coarse])
    modelled = pixel_gains() @ np.diagonal(power, axis1=1, axis2=2)
    textured = shares[2].diagonal() - unshared(shares[2])
    variance = np.median(quiet.whole / quiet.fine, axis=0) - textured + _REST * coarse.diagonal()
    return NoiseShape(power / np.sqrt(modelled[:, None] * modelled), 1 / np.maximum(variance, 1))


def whiter(one: NoiseShape, other: NoiseShape) -> NoiseShape:
    """Return the shape with the larger fine part: a picture's texture can only add to the rest.

    A frame whose shape could not be measured says nothing.
    """
    if one is WHITE or other is WHITE:
        return other if one is WHITE else one
    return max(one, other, key=lambda shape: float(shape.fine.sum()))


def _unshared(covariance: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return the variances less the one factor that three channels share."""
    own = covariance.diagonal().copy()
    for this, one, other in ((0, 1, 2), (1, 0, 2), (2, 0, 1)):
        with_one, with_other = covariance[this, one], covariance[this, other]
        rest = covariance[one, other]
        if min(with_one, with_other, rest) > 0:
            # A channel that the factor moves alike has about the covariance; next to nothing
            # divided by next to nothing is anything.
            own[this] -= min(with_one * with_other / rest, _STEEPEST * max(with_one, with_other))
    return np.asarray(np.maximum(own, 0))


def _possible(covariance: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return the nearest covariance: measured ones can have powers below nought."""
    values, vectors = np.linalg.eigh((covariance + covariance.T) / 2)
    return np.asarray((vectors * np.maximum(values, _LEAST)) @ vectors.T)


def _between_quiet_neighbours(pixels: Float) -> list[Window]:
    """Return places between quiet neighbours, no channel of them black, blown out or constant.

    Of a large picture strips are looked at, some 4 megapixels in all.
    """
    height, width = pixels.shape[:2]
    if min(height, width) < 3 * _SIDE_PX:
        return []
    apart = max(1, round((height * width / _ENOUGH_PX) ** 0.5)) * _STRIP_PX
    tops = [top for top in range(0, height, apart) if height - top >= 3 * _SIDE_PX]
    strips = [_detail_around(pixels[top : top + _STRIP_PX]) for top in tops]
    around = np.concatenate(strips)
    rows = [
        top + n * _SIDE_PX
        for top, strip in zip(tops, strips, strict=True)
        for n in range(len(strip))
    ]
    usable = int(np.count_nonzero(np.isfinite(around)))
    wanted = min(int(_QUIETEST * usable), _MOST)
    quietest = np.argsort(around, axis=None, kind="stable")[:usable]
    places = (
        (
            slice(rows[row], rows[row] + _SIDE_PX),
            slice(column * _SIDE_PX, (column + 1) * _SIDE_PX),
        )
        for row, column in zip(*np.unravel_index(quietest, around.shape), strict=True)
    )
    grained = (place for place in places if (np.ptp(pixels[place], axis=(0, 1)) > 0).all())
    return list(islice(grained, wanted))


def _detail_around(strip: Float) -> Float:
    """Return the detail in the eight neighbours of each cell; infinite where a cell is no use."""
    small = reduce_by(strip, _REDUCED)
    grey = small.mean(axis=2)
    smooth = cv2.GaussianBlur(grey, (0, 0), 2.0)
    detail = np.square(cv2.GaussianBlur(grey, (0, 0), 0.8) - smooth) / np.maximum(smooth, 2e-3)
    side = _SIDE_PX // _REDUCED
    rows, columns = strip.shape[0] // _SIDE_PX, strip.shape[1] // _SIDE_PX
    power, dark, bright = (
        part[: rows * side, : columns * side].reshape(rows, side, columns, side)
        for part in (detail, grey, small.max(axis=2))
    )
    ring = np.ones((3, 3), np.float32) / 8
    ring[1, 1] = 0
    around = cv2.filter2D(power.mean(axis=(1, 3)), -1, ring, borderType=cv2.BORDER_REFLECT_101)
    usable = (dark.min(axis=(1, 3)) > _DARKEST) & (bright.max(axis=(1, 3)) < _BRIGHTEST)
    return np.where(usable, around, np.float32(np.inf))


def _covariances(pixels: Float, place: Window) -> Covariances:
    """Return the channels' covariances in each band, and in all of them together."""
    near = with_margin(place, _MARGIN_PX, pixels.shape[:2])
    own = inside(place, near)
    bands = band_parts(pixels[near], BAND_STEPS_PX)
    parts = [part[own].reshape(-1, 3) for part in (*bands, np.sum(bands, axis=0))]
    return np.array([part.T @ part / len(part) for part in parts], np.float64)
