"""Fine fit: Gauss-Newton on a thin band of linear light, weighted to what both frames show.

Why so, found on simulated pairs with a sitter in focus on a tenth of the frame:

* luminance stays *linear*: a logarithm or a root moves the edges of blurred silhouettes;
* a thin band (difference of Gaussians) divided by its wide mean treats all contrasts alike;
* weights come from the windowed correlation of the two bands, so the zone in focus in both frames
  is found, not assumed, and a blurred foreground drops out by itself;
* the gain is *local*, within 0.3 to 3 times the global one: it absorbs exposure, fall-off and veil;
* the sharper frame is first blurred by the relative disc, fitted too, up to about 10 px;
* Tukey weights hold off what moved.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from blendkit.alignment import models
from blendkit.alignment.boxes import cut, mapped_box, whole_box, zone_box
from blendkit.filters.bands import band_pass, window_mean
from blendkit.filters.disc import disc_blur
from blendkit.filters.resample import matrix_at_reduced_scale, reduce_by
from blendkit.filters.robust import tukey_weights, weighted_median
from blendkit.frame import Float, Matrix
from blendkit.settings import AlignmentSettings

_BAND_PX = (1.0, 2.5)
_WINDOW_PX = 15
_DISCS_PX = (0.0, 1.0, 2.0, 3.0, 4.5, 7.0, 10.0, 14.0, 20.0, 28.0, 40.0)
_DISC_PENALTY = 0.25
"""Share by which each px of relative disc raises the error that a fit is taken to have.

Blur-matched background carries veil, parallax and wrong blur, which its own residuals do not show.
"""
_ITERATIONS = 12
_TRIAL_ITERATIONS = 2
_SETTLED_PX = 0.002
_BLOCKS_PER_SIDE = 24
_LEAST_BLOCK_PX = 16
_SPREAD_SAMPLE = 8192


@dataclass(frozen=True, eq=False, slots=True)
class Fit:
    """A transform fitted at one scale.

    matrix: full background px to full foreground px.
    model: its name in `models.MODELS`.
    frame_error_px: RMS error over the frame that the block covariance predicts, full px.
    halves_px: RMS distance over the frame of the fits to two halves of the evidence, full px.
    residual_px: weighted RMS of the residual expressed as motion, full px.
    correlation: weighted correlation of the two bands after the fit, -1 to 1.
    relative_disc_px: full px, positive where the background frame is softer.
    support: share of the frame's area that carried the fit.
    richer_px: richer model to (motion it would add, error it would have), RMS over the frame.
    weights, factor: float32 evidence map at 1/factor of full size.
    """

    matrix: Matrix
    model: str
    frame_error_px: float
    halves_px: float
    residual_px: float
    correlation: float
    relative_disc_px: float
    support: float
    richer_px: dict[str, tuple[float, float]]
    weights: Float
    factor: int


def refine(
    background: Float,
    foreground: Float,
    start: Matrix,
    factors: Sequence[int],
    settings: AlignmentSettings,
    *,
    model: str = "similarity",
    disc_px: float | None = None,
) -> Fit:
    """Fit the transform from coarse to fine.

    Parameters
    ----------
    background, foreground : ndarray
        Linear luminance, float32 (height, width).
    start : Matrix
        First guess, full px, right to about 1.5 px of the first scale.
    factors : sequence of int
        Reductions to work at, coarsest first.
    settings : AlignmentSettings
        Uses largest_relative_disc_px.
    model : str
        A name in `models.MODELS`.
    disc_px : float, optional
        Relative disc in full px that the first scale starts from; None tries them all.

    Returns
    -------
    Fit
        Of the last factor at which the finer band still improved the fit.
    """
    matrix, best = start, None
    for factor in factors:
        level = _Level(background, foreground, factor, matrix, best)
        trials = _trial_discs(disc_px, factor, settings.largest_relative_disc_px)
        fit = level.fit(matrix, trials, model)
        if best is not None and not _carries_on(best, fit):
            break
        best, matrix, disc_px = fit, fit.matrix, fit.relative_disc_px
    assert best is not None  # noqa: S101 - factors is never empty
    return best


def refit(background: Float, foreground: Float, fit: Fit, model: str) -> Fit:
    """Return the fit of another model at the same scale and disc, started from a fit.

    background, foreground: linear luminance, float32 (height, width).
    """
    level = _Level(background, foreground, fit.factor, fit.matrix, fit)
    start = plain_shift(fit) if model == "translation" else fit.matrix
    return level.fit(start, [fit.relative_disc_px / fit.factor], model)


def plain_shift(fit: Fit) -> Matrix:
    """Return the shift that agrees with a fit at the middle of its evidence."""
    middle = _middle(fit)
    return _shift(*(models.apply(fit.matrix, middle) - middle)[0])


def _middle(fit: Fit) -> NDArray[np.float64]:
    rows, columns = np.indices(fit.weights.shape)
    total = float(fit.weights.sum()) + 1e-12
    place = [float((axis * fit.weights).sum()) / total for axis in (columns, rows)]
    return np.array([place]) * fit.factor


def _trial_discs(disc_px: float | None, factor: int, largest_px: float) -> list[float]:
    """Return the relative discs to try, px of the scale: a few, or those around the coarser one's.

    >>> _trial_discs(None, 4, 10.0)
    [-10.0, -4.5, -2.0, 0.0, 2.0, 4.5, 10.0]
    >>> _trial_discs(4.0, 1, 10.0)
    [0.0, 2.0, 3.0, 4.5, 7.0]
    """
    side = [d for d in _DISCS_PX if d <= largest_px]
    every = [-d for d in reversed(side[1:])] + side
    if disc_px is None:
        few = side[2::2]
        return [-d for d in reversed(few)] + [0.0, *few]
    middle = int(np.argmin(np.abs(np.array(every) - disc_px / factor)))
    return sorted({0.0, *every[max(middle - 2, 0) : middle + 2]})


def _carries_on(coarser: Fit, finer: Fit) -> bool:
    """Tell whether the finer fit improves on the coarser one.

    It does not where the finer band holds only noise: the predicted error then grows, or the fit
    runs off by far more than the coarser one's error allows.
    """
    moved = models.frame_distance_px(coarser.matrix, finer.matrix, finer.weights, finer.factor)
    plausible = moved < 3 * coarser.frame_error_px + 1.5 * coarser.factor
    return plausible and finer.frame_error_px < 1.05 * coarser.frame_error_px


class _Level:
    """Both frames at one reduction, cropped to the zone that carries the fit; the steps on them.

    Inside, transforms map px of the background's crop to px of the foreground's crop.
    """

    def __init__(
        self,
        background: Float,
        foreground: Float,
        factor: int,
        start: Matrix,
        coarser: Fit | None,
    ) -> None:
        self.factor = factor
        light_b, light_f = reduce_by(background, factor), reduce_by(foreground, factor)
        self._shape = light_b.shape
        small = matrix_at_reduced_scale(start, factor)
        box_b = zone_box(coarser.weights, coarser.factor / factor, self._shape) if coarser else None
        box_b = box_b or whole_box(self._shape)
        box_f = mapped_box(box_b, small, light_f.shape)
        self._corner = box_b[:2]
        self._to_crop_b = _shift(-box_b[0], -box_b[1])
        self._to_crop_f = _shift(-box_f[0], -box_f[1])
        self._whole_b = light_b
        self._light_b, self._light_f = cut(light_b, box_b), cut(light_f, box_f)
        self.size = (self._light_b.shape[1], self._light_b.shape[0])
        self._grid = models.grid_points((light_b.shape[1], light_b.shape[0])) - self._corner
        self._bands: dict[float, tuple[Float, Float, float]] = {}

    def fit(self, matrix: Matrix, discs_px: Sequence[float], model: str) -> Fit:
        """Try the relative discs for two steps each, then settle with the best of them."""
        small = matrix_at_reduced_scale(matrix, self.factor)
        small = self._to_crop_f @ small @ np.linalg.inv(self._to_crop_b)
        trials = []
        for disc in discs_px if len(discs_px) > 1 else ():
            moved, system = self._gauss_newton(small, disc, model, _TRIAL_ITERATIONS)
            trials.append((self._error_px(system, model, disc), disc, moved))
        _, disc_px, small = min(trials, default=(0.0, discs_px[0], small), key=lambda t: t[0])
        small, system = self._gauss_newton(small, disc_px, model, _ITERATIONS)
        return self._describe(small, system, disc_px, model)

    def _error_px(self, system: "_System", model: str, disc_px: float) -> float:
        """Return the error over the whole frame that the fit is taken to have, px of the scale."""
        covariance = system.block_covariance(model)
        error = models.predicted_rms_px(covariance, model, self._grid, self.size)
        return error * (1 + _DISC_PENALTY * abs(disc_px))

    def bands(self, disc_px: float) -> tuple[Float, Float, float]:
        """Return both bands with the sharper frame blurred by the relative disc, and the floor."""
        if disc_px not in self._bands:
            # Bands widen with the disc: a blurred edge has no fine band to fit.
            grow = float(np.hypot(1, abs(disc_px) / 6))
            fine, wide = _BAND_PX[0] * grow, _BAND_PX[1] * grow
            soft_b = disc_blur(self._light_b, max(-disc_px, 0.0))
            soft_f = disc_blur(self._light_f, max(disc_px, 0.0))
            band_b, band_f = band_pass(soft_b, fine, wide), band_pass(soft_f, fine, wide)
            floor = _noise_floor(disc_blur(self._whole_b, max(-disc_px, 0.0)), fine, wide)
            self._bands = {disc_px: (band_b, band_f, floor)}
        return self._bands[disc_px]

    def _correlation(self, small: Matrix, disc_px: float, weights: Float) -> float:
        band_b, band_f, _ = self.bands(disc_px)
        moved, valid = models.sample(band_f, small, self.size)
        local = np.sqrt(window_mean(band_b**2, _WINDOW_PX) * window_mean(moved**2, _WINDOW_PX))
        share = weights * valid / (local + 1e-12)
        return float((share * band_b * moved).sum() / ((weights * valid).sum() + 1e-12))

    def _gauss_newton(
        self, small: Matrix, disc_px: float, model: str, iterations: int
    ) -> tuple[Matrix, "_System"]:
        for _ in range(iterations):
            system = self._system(small, disc_px)
            small, moved_px = models.step(small, system.solve(model), model, self.size)
            if moved_px < _SETTLED_PX:
                break
        return small, self._system(small, disc_px)

    def _system(self, small: Matrix, disc_px: float) -> "_System":
        band_b, band_f, floor = self.bands(disc_px)
        moved, valid = models.sample(band_f, small, self.size)
        block_px = max(max(self._shape) // _BLOCKS_PER_SIDE, _LEAST_BLOCK_PX)
        return _System(band_b, moved, valid, small, floor=floor, block_px=block_px)

    def _describe(self, small: Matrix, system: "_System", disc_px: float, model: str) -> Fit:
        weights = np.zeros(self._shape, np.float32)
        rows = slice(self._corner[1], self._corner[1] + self.size[1])
        weights[rows, self._corner[0] : self._corner[0] + self.size[0]] = system.weights
        reduced = np.linalg.inv(self._to_crop_f) @ small @ self._to_crop_b
        return Fit(
            matrix=matrix_at_reduced_scale(reduced / reduced[2, 2], 1.0 / self.factor),
            model=model,
            frame_error_px=self._error_px(system, model, disc_px) * self.factor,
            halves_px=self._halves_px(system, model) * self.factor,
            residual_px=system.residual_px() * self.factor,
            correlation=self._correlation(small, disc_px, system.weights),
            relative_disc_px=disc_px * self.factor,
            support=float(np.count_nonzero(system.weights > 0.1) / weights.size),
            richer_px=self._richer_px(system, model, disc_px),
            weights=weights,
            factor=self.factor,
        )

    def _halves_px(self, system: "_System", model: str) -> float:
        return models.step_rms_px(system.halves_step(model), model, self._grid, self.size)

    def _richer_px(
        self, system: "_System", model: str, disc_px: float
    ) -> dict[str, tuple[float, float]]:
        """Return, by richer model, its next step and its error over the whole frame, full px."""
        found = {}
        for name in list(models.MODELS)[list(models.MODELS).index(model) + 1 :]:
            step = models.step_rms_px(system.solve(name), name, self._grid, self.size)
            error = self._error_px(system, name, disc_px)
            found[name] = (step * self.factor, error * self.factor)
        return found


def _shift(x: float, y: float) -> Matrix:
    return np.array([[1.0, 0.0, x], [0.0, 1.0, y], [0.0, 0.0, 1.0]])


class _System:
    """The weighted least squares of one Gauss-Newton step, kept per pixel.

    Model: b(x) = g(x) f(Mx), b and f the bands, g the local gain.  With r = b - g f and the
    gradient of the moved band, one row of the system per pixel is  g grad f . dx = r.
    """

    def __init__(
        self,
        band_b: Float,
        moved: Float,
        valid: Float,
        small: Matrix,
        *,
        floor: float,
        block_px: int,
    ) -> None:
        self._block_px = block_px
        power_b = window_mean(band_b**2, _WINDOW_PX)
        power_f = window_mean(moved**2, _WINDOW_PX)
        shared = window_mean(band_b * moved, _WINDOW_PX)
        correlation = shared / (np.sqrt(power_b * power_f) + 1e-12)
        trust = np.clip((correlation - 0.35) / 0.65, 0, 1) ** 2 * valid
        trust *= power_b / (power_b + floor)
        gain = self._local_gain(shared, power_f, trust)
        scale = np.sqrt(power_b + floor)
        residual = (band_b - gain * moved) / scale
        spread = _spread(residual, trust)
        self.weights = np.asarray(trust, np.float32)
        self._row_weights = trust * tukey_weights(residual, 6 * 1.4826 * spread)
        self._residual = np.asarray(residual, np.float32)
        # Gradient with respect to the sampled position, brought from the background grid.
        grad_x = cv2.Sobel(moved, cv2.CV_32F, 1, 0, ksize=3, scale=1 / 8)
        grad_y = cv2.Sobel(moved, cv2.CV_32F, 0, 1, ksize=3, scale=1 / 8)
        inverse = np.linalg.inv(small[:2, :2]).T.astype(np.float32)
        ratio = gain / scale
        self._grad_x = ratio * (inverse[0, 0] * grad_x + inverse[0, 1] * grad_y)
        self._grad_y = ratio * (inverse[1, 0] * grad_x + inverse[1, 1] * grad_y)

    @staticmethod
    def _local_gain(shared: Float, power_f: Float, trust: Float) -> Float:
        whole = float((trust * shared).sum() / ((trust * power_f).sum() + 1e-12))
        whole = max(whole, 1e-3)
        return np.asarray(np.clip(shared / (power_f + 1e-12), 0.3 * whole, 3 * whole), np.float32)

    def _rows(self, model: str) -> tuple[NDArray[np.float32], NDArray[np.bool_]]:
        used = self._row_weights > 1e-4
        basis = models.motion_basis(model, self._residual.shape, used)
        gx, gy = self._grad_x[used], self._grad_y[used]
        return basis[0] * gx + basis[1] * gy, used

    def solve(self, model: str) -> NDArray[np.float64]:
        """Return the parameter step (centred coordinates of `models`)."""
        rows, used = self._rows(model)
        weight = self._row_weights[used]
        normal = (rows * weight) @ rows.T
        right = (rows * weight) @ self._residual[used]
        return _damped_solve(normal, right)

    def block_covariance(self, model: str) -> NDArray[np.float64]:
        """Return the sandwich covariance with blocks of the frame as the independent units.

        Residuals of one zone share their cause (a wrong blur, a small motion), so pixels are far
        from independent: summing gradients per block first keeps the stated error honest.
        After Liang & Zeger (1986), Biometrika 73(1), doi:10.1093/biomet/73.1.13.
        """
        rows, used = self._rows(model)
        weighted = rows * self._row_weights[used]
        normal = np.asarray(weighted @ rows.T, np.float64)
        scores = weighted * self._residual[used]
        block = _block_index(self._residual.shape, self._block_px)[used]
        count = int(block.max()) + 1 if block.size else 1
        sums = np.stack([np.bincount(block, row, count) for row in scores])
        filled = max(int((np.bincount(block, minlength=count) > 20).sum()), 1)
        meat = sums @ sums.T * (filled / max(filled - len(rows) / 2, 0.5))
        bread = np.linalg.pinv(normal + 1e-9 * np.trace(normal) * np.eye(len(normal)))
        return np.asarray(bread @ meat @ bread)

    def halves_step(self, model: str) -> NDArray[np.float64]:
        """Return the difference of the next steps of two halves of the blocks."""
        rows, used = self._rows(model)
        odd = _checkerboard(self._residual.shape, self._block_px)[used]
        steps = []
        for half in (odd, ~odd):
            part = rows[:, half]
            weighted = part * self._row_weights[used][half]
            steps.append(_damped_solve(weighted @ part.T, weighted @ self._residual[used][half]))
        return steps[0] - steps[1]

    def residual_px(self) -> float:
        """Return the weighted RMS residual divided by the RMS gradient: a motion in px."""
        weight = self._row_weights
        slope = float((weight * (self._grad_x**2 + self._grad_y**2)).sum()) / 2
        return float(np.sqrt((weight * self._residual**2).sum() / (slope + 1e-12)))


def _spread(residual: Float, trust: Float) -> float:
    """Return the weighted median of |residual| where the trust is above 0.05; 1 where that is rare.

    A sample of the pixels does: its own error is far below the factor of the cut-off.
    """
    places = np.flatnonzero(trust > 0.05)
    if len(places) <= 50:
        return 1.0
    places = places[:: max(len(places) // _SPREAD_SAMPLE, 1)]
    return weighted_median(np.abs(residual.ravel()[places]), trust.ravel()[places])


def _noise_floor(light: Float, fine_px: float, wide_px: float) -> float:
    """Return a floor for band power: what the quietest tenth of the whole frame shows."""
    power = window_mean(np.square(band_pass(light, fine_px, wide_px)), _WINDOW_PX)
    return float(np.percentile(power[::4, ::4], 10)) + 1e-12


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
