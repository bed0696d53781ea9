"""Coarse search: rotation, scale and shift at small size, by masked normalised correlation.

Two channels vote, because one of them is usually blind.  The *fine* channel is a high-pass of
linear light: where a zone is in focus in both frames it is decisive.  The *soft* channel is a
low-pass of log light: it still sees where nothing is in focus, and it ignores exposure.

Masked normalised correlation follows Padfield (2012), IEEE TIP 21(5), doi:10.1109/TIP.2011.2181402:
every sum runs over the pixels that overlap and carry weight, so a bare border costs nothing.
"""

from collections.abc import Iterator
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy import fft

from blendkit.filters.bands import band_pass, window_mean
from blendkit.filters.resample import matrix_at_reduced_scale, reduce_by
from blendkit.frame import Float, Matrix
from blendkit.settings import AlignmentSettings

_LIGHT_FLOOR = 1e-3
"""Light below this (10 stops under white) is noise; it bounds the logarithm."""


@dataclass(frozen=True, eq=False, slots=True)
class Candidate:
    """A transform in full px, the score that found it (-1 to 1), and the channel's name."""

    matrix: Matrix
    score: float
    channel: str


def coarse_search(
    background: Float, foreground: Float, settings: AlignmentSettings
) -> list[Candidate]:
    """Find where the foreground frame lies, to about a pixel of the small picture.

    Parameters
    ----------
    background, foreground : ndarray
        Linear luminance, float32 (height, width), of one size.
    settings : AlignmentSettings
        Uses coarse_size_px, rotation_range_deg, scale_range and shift_range.

    Returns
    -------
    list of Candidate
        The two best of each channel, best first.
    """
    factor = max(round(max(background.shape) / settings.coarse_size_px), 1)
    small_b, small_f = reduce_by(background, factor), reduce_by(foreground, factor)
    found: list[Candidate] = []
    for name, channel in _CHANNELS.items():
        correlator = _Correlator(channel(small_b), settings.shift_range)
        moving = channel(small_f)
        for score, matrix in _best_turns(correlator, moving, settings)[:2]:
            found.append(Candidate(matrix_at_reduced_scale(matrix, 1 / factor), score, name))
    return sorted(found, key=lambda item: -item.score)


def _best_turns(
    correlator: "_Correlator", moving: Float, settings: AlignmentSettings
) -> list[tuple[float, Matrix]]:
    """Return scores and transforms, best first: a wide net of turns, then a finer one."""
    net = _turn_net(settings)
    tried = {turn: correlator.best(moving, _turn_matrix(moving.shape, *turn)) for turn in net}
    for degrees, scale in sorted(tried, key=lambda turn: -tried[turn][0])[:2]:
        for turn in set(_around(degrees, scale)) - set(tried):
            tried[turn] = correlator.best(moving, _turn_matrix(moving.shape, *turn))
    return sorted(tried.values(), key=lambda pair: -pair[0])


def score_at(
    background: Float, foreground: Float, matrix: Matrix, settings: AlignmentSettings
) -> dict[str, float]:
    """Return each channel's masked correlation at one transform (full px), -1 to 1."""
    factor = max(round(max(background.shape) / settings.coarse_size_px), 1)
    small = matrix_at_reduced_scale(matrix, factor)
    scores = {}
    for name, channel in _CHANNELS.items():
        fixed = channel(reduce_by(background, factor))
        moving, valid = _turned(channel(reduce_by(foreground, factor)), small)
        weight = _energy_weight(fixed) * valid
        shared = float((weight * fixed * moving).sum())
        power = float((weight * fixed**2).sum() * (weight * moving**2).sum())
        scores[name] = shared / (np.sqrt(power) + 1e-12)
    return scores


def _fine_channel(light: Float) -> Float:
    band = band_pass(light, 0.7, 2.0)
    wide = np.sqrt(window_mean(np.square(band), 2 * (max(light.shape) // 12) + 1))
    ratio = band / (wide + 0.3 * band.std() + 1e-7)
    # Soft clipping keeps one bright edge from outvoting a whole zone.
    return np.asarray(2 * np.tanh(ratio / 2), np.float32)


def _soft_channel(light: Float) -> Float:
    span = max(light.shape)
    logs = np.log2(np.maximum(light, _LIGHT_FLOOR)).astype(np.float32)
    return band_pass(logs, span / 60, span / 10)


_CHANNELS = {"fine": _fine_channel, "soft": _soft_channel}


def _energy_weight(fixed: Float) -> Float:
    energy = window_mean(np.square(fixed), 2 * (max(fixed.shape) // 32) + 1)
    return np.asarray(energy / (energy + energy.mean() + 1e-12), np.float32)


def _turn_net(settings: AlignmentSettings) -> Iterator[tuple[float, float]]:
    """Yield (rotation in degrees, scale) over the ranges, in steps of about 1 degree and 0.02.

    >>> len(list(_turn_net(AlignmentSettings())))
    49
    """
    span = settings.rotation_range_deg
    low, high = 1 - settings.scale_range, 1 + settings.scale_range
    for degrees in np.linspace(-span, span, 2 * round(span) + 1):
        for scale in np.linspace(low, high, 2 * round(settings.scale_range / 0.02) + 1):
            yield round(float(degrees), 4), round(float(scale), 4)


def _around(degrees: float, scale: float) -> Iterator[tuple[float, float]]:
    for more_degrees in (-0.5, 0.0, 0.5):
        for more_scale in (-0.01, 0.0, 0.01):
            yield round(degrees + more_degrees, 4), round(scale + more_scale, 4)


def _turn_matrix(shape: tuple[int, ...], degrees: float, scale: float) -> Matrix:
    """Return a rotation and scale about the centre of a frame of that shape."""
    centre = ((shape[1] - 1) / 2, (shape[0] - 1) / 2)
    turn = np.eye(3)
    turn[:2] = cv2.getRotationMatrix2D(centre, degrees, scale)
    return turn


def _turned(moving: Float, matrix: Matrix) -> tuple[Float, Float]:
    """Sample a channel at matrix @ x; return it with its validity, both (height, width)."""
    size = (moving.shape[1], moving.shape[0])
    flags = cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP
    turned = cv2.warpAffine(moving, matrix[:2], size, flags=flags)
    valid = cv2.warpAffine(np.ones_like(moving), matrix[:2], size, flags=flags)
    inside = np.asarray(np.greater(valid, 0.99), np.float32)
    return np.asarray(turned * inside, np.float32), inside


class _Correlator:
    """Masked normalised correlation of one fixed channel with many turned ones."""

    def __init__(self, fixed: Float, shift_range: float) -> None:
        height, width = fixed.shape
        self._reach = max(round(shift_range * max(height, width)), 2)
        self._shape = tuple(fft.next_fast_len(n + self._reach, real=True) for n in fixed.shape)
        weight = _energy_weight(fixed)
        self._weight = self._transform(weight)
        self._first = self._transform(weight * fixed)
        # What a small turn leaves uncovered at the rim hardly changes with the turn.
        whole = np.ones_like(fixed)
        self._covered = self._correlate(self._weight, whole) > 0.5 * float(weight.sum())
        self._fixed_power = self._correlate(self._transform(weight * fixed**2), whole)
        self._floor = 1e-6 * float(weight.sum())

    def _transform(self, values: Float) -> NDArray[np.complexfloating]:
        return np.asarray(fft.rfft2(values, self._shape))

    def best(self, moving: Float, turn: Matrix) -> tuple[float, Matrix]:
        """Return the best score and the turn with the best shift put in."""
        turned, _ = _turned(moving, turn)
        shared = self._correlate(self._first, turned)
        moving_power = self._correlate(self._weight, turned**2)
        power = np.maximum(self._fixed_power, 0) * np.maximum(moving_power, 0)
        score = np.where(self._covered, shared / (np.sqrt(power) + self._floor), -1)
        row, column = np.unravel_index(int(np.argmax(score)), score.shape)
        shift = np.array([column - self._reach, row - self._reach], np.float64)
        matrix = turn.copy()
        matrix[:2, 2] += turn[:2, :2] @ shift
        return float(score[row, column]), matrix

    def _correlate(self, fixed: NDArray[np.complexfloating], moving: Float) -> Float:
        """Return sum_x fixed(x) moving(x + t) for every shift t within reach."""
        product = np.conj(fixed) * self._transform(moving)
        surface = fft.irfft2(product, self._shape)
        reach = self._reach
        rolled = np.roll(surface, (reach, reach), axis=(0, 1))
        return np.asarray(rolled[: 2 * reach + 1, : 2 * reach + 1], np.float32)
