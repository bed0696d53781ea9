"""The weighted least squares of one Gauss-Newton step, and what its residuals say of its error."""

from dataclasses import dataclass
from typing import Any, Self

import cv2
import numpy as np
from numpy.typing import NDArray

from blendkit.alignment import models
from blendkit.filters.bands import window_mean
from blendkit.filters.robust import MAD_TO_SIGMA, tukey_weights, weighted_median
from blendkit.frame import Float, Matrix

WINDOW_PX = 15
_SPREAD_SAMPLE = 8192
_TUKEY = 6.0
_LEAST_SAY = 1e-4
_UNLIKE = 0.35
"""Windowed correlation of the bands up to which a place is taken to show different things."""


@dataclass(frozen=True, eq=False, slots=True)
class Band:
    """A band of the background frame: what stays the same from step to step.

    values: float32 (height, width).  power: their windowed mean square.  floor: power of noise.
    """

    values: Float
    power: Float
    floor: float

    @classmethod
    def of(cls, values: Float, floor: float) -> Self:
        """Return a band with its power."""
        return cls(values, window_power(values), floor)


class System:
    """The weighted least squares of one Gauss-Newton step, kept per pixel.

    Model: b(x) = g(x) f(Mx), b and f the bands, g the local gain.  With r = b - g f and the
    gradient of the moved band, one row of the system per pixel is  g grad f . dx = r.
    """

    def __init__(
        self, own: Band, moved: Float, valid: Float, small: Matrix, *, block_px: int
    ) -> None:
        self._block_px = block_px
        band_b, power_b, floor = own.values, own.power, own.floor
        power_f = window_power(moved)
        shared = window_mean(band_b * moved, WINDOW_PX)
        correlation = shared / (np.sqrt(power_b * power_f) + 1e-12)
        trust = np.clip((correlation - _UNLIKE) / (1 - _UNLIKE), 0, 1) ** 2 * valid
        trust *= power_b / (power_b + floor)
        gain = self._local_gain(shared, power_f, trust)
        scale = np.sqrt(power_b + floor)
        residual = np.asarray((band_b - gain * moved) / scale, np.float32)
        spread = _spread(residual, trust)
        self.weights = np.asarray(trust, np.float32)
        self._row_weights = trust * tukey_weights(residual, _TUKEY * MAD_TO_SIGMA * spread)
        self._residual = residual
        # Gradient with respect to the sampled position, brought from the background grid.
        grad_x = cv2.Sobel(moved, cv2.CV_32F, 1, 0, ksize=3, scale=1 / 8)
        grad_y = cv2.Sobel(moved, cv2.CV_32F, 0, 1, ksize=3, scale=1 / 8)
        inverse = np.linalg.inv(small[:2, :2]).T.astype(np.float32)
        ratio = gain / scale
        self._grad_x = ratio * (inverse[0, 0] * grad_x + inverse[0, 1] * grad_y)
        self._grad_y = ratio * (inverse[1, 0] * grad_x + inverse[1, 1] * grad_y)
        # Most pixels have no say: everything after this is done on those that have.
        self._used = np.flatnonzero(self._row_weights > _LEAST_SAY)

    @staticmethod
    def _local_gain(shared: Float, power_f: Float, trust: Float) -> Float:
        whole = float((trust * shared).sum() / ((trust * power_f).sum() + 1e-12))
        whole = max(whole, 1e-3)
        return np.asarray(np.clip(shared / (power_f + 1e-12), 0.3 * whole, 3 * whole), np.float32)

    def _rows(self, model: str) -> NDArray[np.float32]:
        basis = models.motion_basis(model, self._residual.shape, self._used)
        slope_x, slope_y = self._at_used(self._grad_x), self._at_used(self._grad_y)
        return np.asarray(basis[0] * slope_x + basis[1] * slope_y, np.float32)

    def _at_used(self, values: NDArray[Any]) -> NDArray[Any]:
        return values.ravel()[self._used]

    def solve(self, model: str) -> NDArray[np.float64]:
        """Return the parameter step (centred coordinates of `models`)."""
        rows = self._rows(model)
        weighted = rows * self._at_used(self._row_weights)
        return _damped_solve(weighted @ rows.T, weighted @ self._at_used(self._residual))

    def block_covariance(self, model: str) -> NDArray[np.float64]:
        """Return the sandwich covariance with blocks of the frame as the independent units.

        Residuals of one zone share their cause (a wrong blur, a small motion), so pixels are far
        from independent: summing gradients per block first keeps the stated error honest.
        After Liang & Zeger (1986), Biometrika 73(1), doi:10.1093/biomet/73.1.13.
        """
        rows = self._rows(model)
        weighted = rows * self._at_used(self._row_weights)
        normal = np.asarray(weighted @ rows.T, np.float64)
        scores = weighted * self._at_used(self._residual)
        block = self._at_used(_block_index(self._residual.shape, self._block_px))
        count = int(block.max()) + 1 if block.size else 1
        sums = np.stack([np.bincount(block, row, count) for row in scores])
        filled = max(int((np.bincount(block, minlength=count) > 20).sum()), 1)
        meat = sums @ sums.T * (filled / max(filled - len(rows) / 2, 0.5))
        bread = np.linalg.pinv(normal + 1e-9 * np.trace(normal) * np.eye(len(normal)))
        return np.asarray(bread @ meat @ bread)

    def halves_step(self, model: str) -> NDArray[np.float64]:
        """Return the difference of the next steps of two halves of the blocks."""
        rows = self._rows(model)
        weight, residual = self._at_used(self._row_weights), self._at_used(self._residual)
        odd = self._at_used(_checkerboard(self._residual.shape, self._block_px))
        steps = []
        for half in (odd, ~odd):
            part = rows[:, half]
            weighted = part * weight[half]
            steps.append(_damped_solve(weighted @ part.T, weighted @ residual[half]))
        return steps[0] - steps[1]

    def residual_px(self) -> float:
        """Return the weighted RMS residual divided by the RMS gradient: a motion in px."""
        weight = self._row_weights
        slope = float((weight * (self._grad_x**2 + self._grad_y**2)).sum()) / 2
        return float(np.sqrt((weight * self._residual**2).sum() / (slope + 1e-12)))


def window_power(band: Float) -> Float:
    """Return the mean square of a band in a window around each pixel, float32."""
    # Running sums in float32 can leave a square's mean a trifle below 0.
    return np.asarray(np.maximum(window_mean(np.square(band), WINDOW_PX), 0), np.float32)


def _spread(residual: Float, trust: Float) -> float:
    """Return the weighted median of |residual| where the trust is above 0.05; 1 where that is rare.

    A sample of the pixels does: its own error is far below the factor of the cut-off.
    """
    places = np.flatnonzero(trust > 0.05)
    if len(places) <= 50:
        return 1.0
    places = places[:: max(len(places) // _SPREAD_SAMPLE, 1)]
    return weighted_median(np.abs(residual.ravel()[places]), trust.ravel()[places])


def _damped_solve(normal: NDArray[np.floating], right: NDArray[np.floating]) -> NDArray[np.float64]:
    normal = np.asarray(normal, np.float64)
    damping = 1e-6 * np.trace(normal) / len(normal) + 1e-12
    return np.linalg.solve(normal + damping * np.eye(len(normal)), np.asarray(right, np.float64))


def _checkerboard(shape: tuple[int, ...], side: int) -> NDArray[np.bool_]:
    rows, columns = np.arange(shape[0]) // side, np.arange(shape[1]) // side
    return np.asarray((rows[:, None] + columns[None, :]) % 2 == 1)


def _block_index(shape: tuple[int, ...], side: int) -> NDArray[np.int64]:
    rows = np.arange(shape[0]) // side
    columns = np.arange(shape[1]) // side
    return rows[:, None] * (int(columns[-1]) + 1) + columns[None, :]
