"""One scale of the fine fit: bands, trial discs, Gauss-Newton steps."""

from collections.abc import Sequence
from functools import partial

import numpy as np

from blendkit.alignment import models
from blendkit.alignment.boxes import cut, mapped_box, whole_box, zone_box
from blendkit.alignment.fit import Fit
from blendkit.alignment.system import Band, System, window_power
from blendkit.filters.bands import band_pass
from blendkit.filters.disc import disc_blur
from blendkit.filters.resample import matrix_at_reduced_scale, reduce_by
from blendkit.filters.threads import each_result
from blendkit.frame import Float, Matrix

_BAND_PX = (1.0, 2.5)
_DISC_PENALTY = 0.25
"""Share by which each px of relative disc raises the error that a fit is taken to have.

Blur-matched background carries veil, parallax and wrong blur, which its own residuals do not show.
"""
SOUGHT_FROM_PX = 4.0
"""Relative disc, px of the scale, from which the best one is sought beside the trial's."""
_NEARBY = (0.5, 0.6, 0.7, 0.83, 1.0, 1.2, 1.4), (0.92, 1.0, 1.08)
_TRUSTED_BY_CHANCE = 0.002
"""Share of the frame, weighted by trust, that agrees by chance: where nothing is in focus in both
frames, windows of noise and of boughs on trees do, and a fit to them predicts a small error."""
_ITERATIONS = 12
_TRIAL_ITERATIONS = 2
_SETTLED_PX = 0.002
_SAMPLED_STEPS = 32
_BLOCKS_PER_SIDE = 24
_LEAST_BLOCK_PX = 16
_Bands = tuple[Band, Float]
"""Of the background frame with its powers, and of the foreground frame."""


class Level:
    """Both frames at one reduction, cropped to the zone that carries the fit; the steps on them.

    allowed: float32 of the reduced background frame's shape, 0 where evidence must not be taken.
    Inside, transforms map px of the background's crop to px of the foreground's crop.
    """

    def __init__(
        self,
        background: Float,
        foreground: Float,
        factor: int,
        start: Matrix,
        coarser: Fit | None,
        *,
        allowed: Float | None = None,
    ) -> None:
        self.factor = factor
        light_b, light_f = reduce_by(background, factor), reduce_by(foreground, factor)
        self._shape = light_b.shape
        small = matrix_at_reduced_scale(start, factor)
        box_b = zone_box(coarser.weights, coarser.factor / factor, self._shape) if coarser else None
        box_b = box_b or whole_box(self._shape)
        box_f = mapped_box(box_b, small, light_f.shape)
        self._corner = box_b[:2]
        self._to_crop_b = shift_by(-box_b[0], -box_b[1])
        self._to_crop_f = shift_by(-box_f[0], -box_f[1])
        self._whole_b = light_b
        self._light_b, self._light_f = cut(light_b, box_b), cut(light_f, box_f)
        self.size = (self._light_b.shape[1], self._light_b.shape[0])
        self._grid = models.grid_points((light_b.shape[1], light_b.shape[0])) - self._corner
        self._allowed = None if allowed is None else cut(allowed, box_b)

    def fit(
        self,
        matrix: Matrix,
        discs_px: Sequence[float],
        model: str,
        *,
        penalty: float = _DISC_PENALTY,
        seek: bool = True,
    ) -> Fit:
        """Try the relative discs for two steps each, then settle with the best of them.

        penalty: share by which each px of disc counts against it among them.
        seek: whether a large disc is sought between the trials', too.
        """
        small = matrix_at_reduced_scale(matrix, self.factor)
        small = self._to_crop_f @ small @ np.linalg.inv(self._to_crop_b)
        if len(discs_px) > 1:
            disc_px, small = self._best_of(small, discs_px, model, penalty)
            if seek and abs(disc_px) >= SOUGHT_FROM_PX:
                disc_px, small = self._matched(disc_px, small, model)
        else:
            (disc_px,) = discs_px
        bands = self._bands(disc_px)
        small, system = self._gauss_newton(small, bands, model, _ITERATIONS)
        correlation = self._correlation(small, bands, system.weights)
        return self._describe(small, system, disc_px, model, correlation)

    def _trial(
        self, small: Matrix, disc_px: float, *, model: str, penalty: float
    ) -> tuple[float, float, Matrix]:
        """Return the error that a few steps with a disc leave, that disc, and where they lead."""
        bands = self._bands(disc_px)
        moved, system = self._gauss_newton(small, bands, model, _TRIAL_ITERATIONS, draft=True)
        return self._error_px(system, model, disc_px, penalty), disc_px, moved

    def _matched(self, disc_px: float, small: Matrix, model: str) -> tuple[float, Matrix]:
        """Return the disc near a trial's that matches best, and where it leads.

        Fits to zones about as soft are compared by what their residuals say, without the penalty,
        which speaks between soft zones and sharp ones.
        """
        for ratios in _NEARBY:
            near = [disc_px * ratio for ratio in ratios]
            disc_px, small = self._best_of(small, near, model, 0.0)
        return disc_px, small

    def _best_of(
        self, small: Matrix, discs_px: Sequence[float], model: str, penalty: float
    ) -> tuple[float, Matrix]:
        """Return the disc with which a few steps leave the least error, and where they lead."""
        trials = each_result(partial(self._trial, small, model=model, penalty=penalty), discs_px)
        _, disc_px, moved = min(trials, key=lambda t: t[0])
        return disc_px, moved

    def _error_px(
        self, system: System, model: str, disc_px: float, penalty: float = _DISC_PENALTY
    ) -> float:
        """Return the error over the whole frame that the fit is taken to have, px of the scale."""
        covariance = system.block_covariance(model)
        error = models.predicted_rms_px(covariance, model, self._grid, self.size)
        trusted = system.trusted / float(np.prod(self._shape))
        chance = _TRUSTED_BY_CHANCE / (trusted + 1e-12)
        return error * (1 + penalty * abs(disc_px)) * (1 + chance**2)

    def _bands(self, disc_px: float) -> _Bands:
        """Return both bands, with the sharper frame blurred by the relative disc."""
        # Bands widen with the disc: a blurred edge has no fine band to fit.
        grow = float(np.hypot(1, abs(disc_px) / 6))
        fine, wide = _BAND_PX[0] * grow, _BAND_PX[1] * grow
        soft_b = disc_blur(self._light_b, max(-disc_px, 0.0))
        soft_f = disc_blur(self._light_f, max(disc_px, 0.0))
        band_b, band_f = band_pass(soft_b, fine, wide), band_pass(soft_f, fine, wide)
        power = seen = window_power(band_b)
        if self._light_b.shape != self._shape:
            whole_b = disc_blur(self._whole_b, max(-disc_px, 0.0))
            seen = window_power(band_pass(whole_b, fine, wide))
        return Band(band_b, power, _noise_floor(seen)), band_f

    def _correlation(self, small: Matrix, bands: _Bands, weights: Float) -> float:
        own, band_f = bands
        moved, valid = models.sample(band_f, small, self.size)
        local = np.sqrt(own.power * window_power(moved))
        share = weights * valid / (local + 1e-12)
        return float((share * own.values * moved).sum() / ((weights * valid).sum() + 1e-12))

    def _gauss_newton(
        self, small: Matrix, bands: _Bands, model: str, iterations: int, *, draft: bool = False
    ) -> tuple[Matrix, System]:
        last_px = np.inf
        for _ in range(iterations):
            at = _where_sampled(small)
            system = self._system(at, bands, draft=draft)
            before = small
            small, _ = models.step(at, system.solve(model), model, self.size)
            step_px = models.grid_distance_px(before, small, self.size)
            # Steps that no longer shrink answer to the rounding of what was sampled.
            if step_px < _SETTLED_PX or last_px <= step_px < 1 / _SAMPLED_STEPS:
                break
            last_px = step_px
        return small, self._system(small, bands, draft=draft)

    def _system(self, small: Matrix, bands: _Bands, *, draft: bool) -> System:
        own, band_f = bands
        moved, valid = models.sample(band_f, small, self.size, draft=draft)
        if self._allowed is not None:
            valid = np.asarray(valid * self._allowed, np.float32)
        block_px = max(max(self._shape) // _BLOCKS_PER_SIDE, _LEAST_BLOCK_PX)
        return System(own, moved, valid, small, block_px=block_px)

    def _describe(
        self, small: Matrix, system: System, disc_px: float, model: str, correlation: float
    ) -> Fit:
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
            correlation=correlation,
            relative_disc_px=disc_px * self.factor,
            support=float(np.count_nonzero(system.weights > 0.1) / weights.size),
            richer_px=self._richer_px(system, model, disc_px),
            weights=weights,
            factor=self.factor,
        )

    def _halves_px(self, system: System, model: str) -> float:
        return models.step_rms_px(system.halves_step(model), model, self._grid, self.size)

    def _richer_px(
        self, system: System, model: str, disc_px: float
    ) -> dict[str, tuple[float, float]]:
        """Return, by richer model, its next step and its error over the whole frame, full px."""
        found = {}
        for name in list(models.MODELS)[list(models.MODELS).index(model) + 1 :]:
            step = models.step_rms_px(system.solve(name), name, self._grid, self.size)
            error = self._error_px(system, name, disc_px)
            found[name] = (step * self.factor, error * self.factor)
        return found


def _where_sampled(small: Matrix) -> Matrix:
    """Return where OpenCV really samples: it rounds positions to 1/32 px.

    A turn spreads the rounding evenly; a plain shift would be off by the same amount everywhere.
    """
    if not np.array_equal(small[:2, :2], np.eye(2)):
        return small
    return np.asarray(np.round(small * _SAMPLED_STEPS) / _SAMPLED_STEPS)


def shift_by(x: float, y: float) -> Matrix:
    """Return a shift by (x, y) px."""
    return np.array([[1.0, 0.0, x], [0.0, 1.0, y], [0.0, 0.0, 1.0]])


def _noise_floor(power: Float) -> float:
    """Return a floor for band power: what the quietest tenth of the whole frame shows."""
    return float(np.percentile(power[::4, ::4], 10)) + 1e-12
