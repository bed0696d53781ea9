"""Finds the disc and the displacement of the blurred foreground, blind, from the pair itself.

The right disc explains the background frame: with the re-rendered background B and the veil of a
trial disc, W should equal (aF)*k + (1 - a*k) B.  The residual is taken in the band that the
veil's edges live in, because a slow difference of light would otherwise be charged to the disc.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np

from blendkit.blending.veil import shifted
from blendkit.filters.bands import gaussian, slow_gaussian
from blendkit.filters.channels import channel_mean
from blendkit.filters.disc import disc_blur
from blendkit.filters.resample import reduce_by
from blendkit.filters.threads import each_result
from blendkit.frame import Float
from blendkit.settings import DiscSettings

_SMALLEST_PX = 2.5
_WORTH_A_SHIFT = 0.015
"""Share of the residual that a displacement must explain: hills behind twigs that stand still
gained 0.012 by 17 px and a disc too large by half, twigs that moved 6 to 12 px 0.02 to 0.27."""
_USUAL = 0.0125
"""Displacement, share of the long side (15 px of 1200), at which it must explain twice as much:
what wind moved by 12 to 24 px gained 0.05 to 0.21, boughs that stood still 0.056 by 38 px."""
STILL_PX = 1.0
"""Displacement, px of the evidence, within which the disc in place is the same disc."""
_FARTHEST = 0.04
"""Largest believable displacement of the blurred boughs, share of the long side: 48 px of 1200."""


@dataclass(frozen=True, eq=False, slots=True)
class DiscEvidence:
    """What the search works on, all at 1/factor of full size.

    soft: the background frame W, (h, w, 3).  rerendered: (h, w, 3).
    foreground: (aF, a) stacked, (h, w, 4).
    weight: (h, w), 0 on the sitter, on clipped and on uncovered places.
    local_light: (h, w, 3), mean light around, which residuals are relative to.
    slow_px: width from which a change of light is no veil's.
    """

    soft: Float
    rerendered: Float
    foreground: Float
    weight: Float
    local_light: Float
    slow_px: float
    factor: int


@dataclass(frozen=True, slots=True)
class DiscFit:
    """Disc diameter and shift (x, y) in full px, and the residual as a share of no veil at all."""

    disc_px: float
    shift_px: tuple[float, float]
    residual: float


def gather_evidence(
    background: Float,
    rerendered: Float,
    matte: Float,
    color: Float,
    weight: Float,
    settings: DiscSettings,
    *,
    reduced_by: int = 1,
) -> DiscEvidence:
    """Reduce the pictures to the search's scale; all of one size, linear light.

    reduced_by: the reduction that they come at.
    """
    factor = max(round(max(matte.shape) / settings.working_size_px), 1)
    foreground = np.dstack([color * matte[..., None], matte]).astype(np.float32)
    soft = reduce_by(background, factor)
    return DiscEvidence(
        soft=soft,
        rerendered=reduce_by(rerendered, factor),
        foreground=reduce_by(foreground, factor),
        weight=reduce_by(weight, factor) + np.float32(1e-6),
        local_light=gaussian(soft, 5) + np.float32(0.01),
        slow_px=settings.slow_share * max(soft.shape),
        factor=factor * reduced_by,
    )


def fit_disc(evidence: DiscEvidence, settings: DiscSettings) -> DiscFit:
    """Search discs in 14 % steps, then shifts, then both together around the best.

    Returns
    -------
    DiscFit
    """
    steps = disc_steps(evidence, settings)
    costs = each_result(lambda disc: residual(evidence, disc, (0.0, 0.0)), steps)
    disc, shift = steps[int(np.argmin(costs))], (0.0, 0.0)
    for reach in (settings.largest_shift_share * max(evidence.weight.shape), 1.0):
        shift = _search_shift(evidence, disc, shift, reach)
        disc = _search_disc(evidence, disc, shift)
        if np.hypot(*shift) > _FARTHEST * max(evidence.weight.shape):
            # Not boughs in the wind but a search that found nothing to hold on to.
            disc, shift = steps[int(np.argmin(costs))], (0.0, 0.0)
    disc, shift = _unless_needless(evidence, disc, shift)
    best = residual(evidence, disc, shift)
    none = residual(evidence, None, (0.0, 0.0))
    factor = evidence.factor
    return DiscFit(disc * factor, (shift[0] * factor, shift[1] * factor), best / (none + 1e-12))


def _unless_needless(
    evidence: DiscEvidence, disc: float, shift: tuple[float, float]
) -> tuple[float, tuple[float, float]]:
    """Return the fit, or one in place where that explains the background frame as well."""
    if np.hypot(*shift) < STILL_PX:
        return disc, shift
    in_place = _search_disc(evidence, disc, (0.0, 0.0))
    gained = 1 - residual(evidence, disc, shift) / residual(evidence, in_place, (0.0, 0.0))
    far = np.hypot(*shift) / (_USUAL * max(evidence.weight.shape))
    worth = gained > _WORTH_A_SHIFT * (1 + far**2)
    return (disc, shift) if worth else (in_place, (0.0, 0.0))


def disc_steps(evidence: DiscEvidence, settings: DiscSettings) -> list[float]:
    """Return the discs to try, px of the evidence, in steps of 14 %."""
    largest = settings.largest_disc_share * max(evidence.weight.shape)
    count = int(np.log(largest / _SMALLEST_PX) / np.log(1.14)) + 1
    return [float(d) for d in np.geomspace(_SMALLEST_PX, largest, count)]


def residual(evidence: DiscEvidence, disc: float | None, shift: tuple[float, float]) -> float:
    """Return the weighted mean of `residual_map` for one disc over all boughs."""
    return _weighed(evidence, residual_map(evidence, disc, shift))


def residual_map(evidence: DiscEvidence, disc: float | None, shift: tuple[float, float]) -> Float:
    """Return the truncated square residual of the forward model, relative to local light, (h, w).

    disc and shift in px of the evidence; None models the background frame without any veil.
    """
    return _truncated(evidence, forward_model(evidence, disc, shift))


def _truncated(evidence: DiscEvidence, model: Float) -> Float:
    """Return the square residual of a model of the background frame, (h, w)."""
    square = band_square(evidence, evidence.soft - model)
    # Bright points and what moved must not outvote the veil.
    cap = 4 * _weighed(evidence, square) + 1e-12
    return np.asarray(np.minimum(square, cap), np.float32)


def forward_model(evidence: DiscEvidence, disc: float | None, shift: tuple[float, float]) -> Float:
    """Return what the background frame should look like, (h, w, 3); disc None: without a veil."""
    if disc is None:
        return evidence.rerendered
    return _veiled(evidence, shifted(blurred_front(evidence, disc), shift))


def blurred_front(evidence: DiscEvidence, disc: float) -> Float:
    """Return the foreground blurred by a disc, (h, w, 4), its rim repeated as `veil.make_veil`."""
    return disc_blur(evidence.foreground, disc, border=cv2.BORDER_REPLICATE)


def _weighed(evidence: DiscEvidence, square: Float) -> float:
    return float((square * evidence.weight).sum() / evidence.weight.sum())


def _veiled(evidence: DiscEvidence, veil: Float) -> Float:
    return np.asarray(veil[..., :3] + (1 - veil[..., 3:]) * evidence.rerendered, np.float32)


def band_square(evidence: DiscEvidence, difference: Float) -> Float:
    """Return a difference's mean square over channels in the veil's band, (h, w), relative."""
    relative = difference / evidence.local_light
    slow = slow_gaussian(relative, evidence.slow_px)
    return np.asarray(channel_mean(np.square(relative - slow)), np.float32)


def _search_shift(
    evidence: DiscEvidence, disc: float, start: tuple[float, float], reach: float
) -> tuple[float, float]:
    """Descend over shifts on a shrinking cross."""
    blurred = blurred_front(evidence, disc)

    def at(shift: tuple[float, float]) -> float:
        model = _veiled(evidence, shifted(blurred, shift))
        return _weighed(evidence, _truncated(evidence, model))

    best, cost = start, at(start)
    step = reach
    while step > 0.2:
        trials = [(best[0] + dx * step, best[1] + dy * step) for dx, dy in _AROUND]
        costs = each_result(at, trials)
        if min(costs) < cost:
            best, cost = trials[int(np.argmin(costs))], min(costs)
        else:
            step /= 2
    return best


_AROUND: Sequence[tuple[int, int]] = (
    (1, 0),
    (-1, 0),
    (0, 1),
    (0, -1),
    (1, 1),
    (1, -1),
    (-1, 1),
    (-1, -1),
)


def _search_disc(evidence: DiscEvidence, disc: float, shift: tuple[float, float]) -> float:
    """Refine the disc by a parabola over the logarithm of its diameter."""

    def cost(trial: float) -> float:
        return residual(evidence, trial, shift)

    for ratio in (1.14, 1.05):
        trials = [disc / ratio, disc, disc * ratio]
        costs = [cost(d) for d in trials]
        while np.argmin(costs) != 1 and _SMALLEST_PX < trials[1] < max(evidence.weight.shape) / 2:
            if np.argmin(costs) == 2:
                trials = [*trials[1:], trials[2] * ratio]
                costs = [*costs[1:], cost(trials[2])]
            else:
                trials = [trials[0] / ratio, *trials[:2]]
                costs = [cost(trials[0]), *costs[:2]]
        bend = costs[0] - 2 * costs[1] + costs[2]
        offset = 0.5 * (costs[0] - costs[2]) / bend if bend > 0 else 0.0
        disc = trials[1] * ratio ** float(np.clip(offset, -1, 1))
    return disc
