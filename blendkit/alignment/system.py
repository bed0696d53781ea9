"""The weighted least squares of one Gauss-Newton step, and what its residuals say of its error."""

from dataclasses import dataclass

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


class System:
    """The weighted least squares of one Gauss-Newton step, kept for the pixels that have a say.

    Model: b(x) = g(x) f(Mx), b and f the bands, g the local gain.  With r = b - g f and the
    gradient of the moved band, one row of the system per pixel is  g grad f . dx = r.
    """

    def __init__(
        self, own: Band, moved: Float, valid: Float, small: Matrix, *, block_px: int
    ) -> None:
        self._block_px, self._shape = block_px, moved.shape
        power_f = window_power(moved)
        shared = window_mean(own.values * moved, WINDOW_PX)
        # Most pixels have no say: everything after this is done on those that have.
        places = _alike(shared, own.power, power_f, valid)
        shared_p, power_p, other_p = (a.ravel()[places] for a in (shared, own.power, power_f))
        correlation = shared_p / (np.sqrt(power_p * other_p) + 1e-12)
        trust = np.clip((correlation - _UNLIKE) / (1 - _UNLIKE), 0, 1) ** 2
        trust *= valid.ravel()[places] * (power_p / (power_p + own.floor))
        gain = self._local_gain(shared_p, other_p, trust)
        scale = np.sqrt(power_p + own.floor)
        values, values_f = own.values.ravel()[places], moved.ravel()[places]
        residual = np.asarray((values - gain * values_f) / scale, np.float32)
        spread = _spread(residual, trust)
        self._trust, self._trusted = np.asarray(trust, np.float32), places
        row_weights = trust * tukey_weights(residual, _TUKEY * MAD_TO_SIGMA * spread)
        used = np.flatnonzero(row_weights > _LEAST_SAY)
        self._used = places[used]
        self._row_weights, self._residual = row_weights[used], residual[used]
        # Gradient with respect to the sampled position, brought from the background grid.
        grad_x, grad_y = (
            cv2.Sobel(moved, cv2.CV_32F, *order, ksize=3, scale=1 / 8).ravel()[self._used]
            for order in ((1, 0), (0, 1))
        )
        inverse = np.linalg.inv(small[:2, :2]).T.astype(np.float32)
        ratio = (gain / scale)[used]
        self._grad_x = ratio * (inverse[0, 0] * grad_x + inverse[0, 1] * grad_y)
        self._grad_y = ratio * (inverse[1, 0] * grad_x + inverse[1, 1] * grad_y)

    @staticmethod
    def _local_gain(shared: Float, power_f: Float, trust: Float) -> Float:
        whole = float((trust * shared).sum() / ((trust * power_f).sum() + 1e-12))
        whole = max(whole, 1e-3)
        return np.asarray(np.clip(shared / (power_f + 1e-12), 0.3 * whole, 3 * whole), np.float32)

    @property
    def trusted(self) -> float:
        """How many pixels show the same in both bands, each counted as far as it does."""
        return float(self._trust.sum())

    @property
    def weights(self) -> Float:
        """How far each pixel shows the same in both bands, 0 to 1, float32 (height, width)."""
        weights = np.zeros(self._shape, np.float32)
        weights.ravel()[self._trusted] = self._trust
        return weights

    def _rows(self, model: str) -> NDArray[np.float32]:
        return models.descent_rows(model, self._shape, self._used, (self._grad_x, self._grad_y))

    def solve(self, model: str) -> NDArray[np.float64]:
        """Return the parameter step (centred coordinates of `models`)."""
        rows = self._rows(model)
        weighted = rows * self._row_weights
        return _damped_solve(weighted @ rows.T, weighted @ self._residual)

    def block_covariance(self, model: str) -> NDArray[np.float64]:
        """Return the sandwich covariance with blocks of the frame as the independent units.

        Residuals of one zone share their cause (a wrong blur, a small motion), so pixels are far
        from independent: summing gradients per block first keeps the stated error honest.
        After Liang & Zeger (1986), Biometrika 73(1), doi:10.1093/biomet/73.1.13.
        """
        rows = self._rows(model)
        weighted = rows * self._row_weights
        normal = np.asarray(weighted @ rows.T, np.float64)
        scores = weighted * self._residual
        row, column = self._blocks()
        block = row * (self._shape[1] // self._block_px + 1) + column
        count = int(block.max()) + 1 if block.size else 1
        sums = np.stack([np.bincount(block, score, count) for score in scores])
        filled = max(int((np.bincount(block, minlength=count) > 20).sum()), 1)
        meat = sums @ sums.T * (filled / max(filled - len(rows) / 2, 0.5))
        bread = np.linalg.pinv(normal + 1e-9 * np.trace(normal) * np.eye(len(normal)))
        return np.asarray(bread @ meat @ bread)

    def halves_step(self, model: str) -> NDArray[np.float64]:
        """Return the difference of the next steps of two halves of the blocks."""
        rows = self._rows(model)
        row, column = self._blocks()
        odd = (row + column) % 2 == 1
        steps = []
        for half in (odd, ~odd):
            part = rows[:, half]
            weighted = part * self._row_weights[half]
            steps.append(_damped_solve(weighted @ part.T, weighted @ self._residual[half]))
        return steps[0] - steps[1]

    def _blocks(self) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
        """Return the row and the column of the block that each pixel with a say lies in."""
        rows, columns = np.divmod(self._used, self._shape[1])
        return rows // self._block_px, columns // self._block_px

    def residual_px(self) -> float:
        """Return the weighted RMS residual divided by the RMS gradient: a motion in px."""
        weight = self._row_weights
        slope = float((weight * (self._grad_x**2 + self._grad_y**2)).sum()) / 2
        return float(np.sqrt((weight * self._residual**2).sum() / (slope + 1e-12)))


def window_power(band: Float) -> Float:
    """Return the mean square of a band in a window around each pixel, float32."""
    # Running sums in float32 can leave a square's mean a trifle below 0.
    return np.asarray(np.maximum(window_mean(np.square(band), WINDOW_PX), 0), np.float32)


def _alike(shared: Float, power: Float, power_f: Float, valid: Float) -> NDArray[np.intp]:
    """Return the places, of the flattened array, where the bands' correlation says something."""
    least = (_UNLIKE**2 * power) * power_f
    return np.flatnonzero((shared > 0) & (shared * shared > least) & (valid > 0))


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
