"""Finds the disc and the displacement of the blurred foreground, blind, from the pair itself.

The right disc explains the background frame: with the re-rendered background B and the veil of a
trial disc, W should equal (aF)*k + (1 - a*k) B.  The residual is taken in the band that the
veil's edges live in, because a slow difference of light would otherwise be charged to the disc.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from blendkit.blending.veil import shifted
from blendkit.filters.bands import gaussian
from blendkit.filters.disc import disc_blur
from blendkit.filters.resample import reduce_by
from blendkit.frame import Float
from blendkit.settings import DiscSettings


@dataclass(frozen=True, eq=False, slots=True)
class DiscEvidence:
    """What the search works on, all at 1/factor of full size.

    soft: the background frame W, (h, w, 3).  rerendered: (h, w, 3).
    foreground: (aF, a) stacked, (h, w, 4).
    weight: (h, w), 0 on the sitter, on clipped and on uncovered places.
    """

    soft: Float
    rerendered: Float
    foreground: Float
    weight: Float
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
) -> DiscEvidence:
    """Reduce the pictures to the search's scale; all full size, linear light."""
    factor = max(round(max(matte.shape) / settings.working_size_px), 1)
    foreground = np.dstack([color * matte[..., None], matte]).astype(np.float32)
    return DiscEvidence(
        soft=reduce_by(background, factor),
        rerendered=reduce_by(rerendered, factor),
        foreground=reduce_by(foreground, factor),
        weight=reduce_by(weight, factor),
        factor=factor,
    )


def fit_disc(evidence: DiscEvidence, settings: DiscSettings) -> DiscFit:
    """Search discs in 14 % steps, then shifts, then both together around the best.

    Returns
    -------
    DiscFit
    """
    largest = settings.largest_disc_share * max(evidence.weight.shape)
    steps = np.geomspace(3, largest, int(np.log(largest / 3) / np.log(1.14)) + 1)
    costs = [residual(evidence, float(d), (0.0, 0.0)) for d in steps]
    disc, shift = float(steps[int(np.argmin(costs))]), (0.0, 0.0)
    for reach in (settings.largest_shift_share * max(evidence.weight.shape), 1.0):
        shift = _search_shift(evidence, disc, shift, reach)
        disc = _search_disc(evidence, disc, shift)
    best = residual(evidence, disc, shift)
    none = residual(evidence, None, (0.0, 0.0))
    factor = evidence.factor
    return DiscFit(disc * factor, (shift[0] * factor, shift[1] * factor), best / (none + 1e-12))


def residual(evidence: DiscEvidence, disc: float | None, shift: tuple[float, float]) -> float:
    """Return the mean truncated residual of the forward model, relative to local light."""
    soft, base = evidence.soft, evidence.rerendered
    model = base
    if disc is not None:
        veil = shifted(disc_blur(evidence.foreground, disc), shift)
        model = veil[..., :3] + (1 - veil[..., 3:]) * base
    difference = (soft - model) / (gaussian(soft, 8) + 0.01)
    band = difference - gaussian(difference, max(evidence.weight.shape) / 24)
    square = np.square(band).mean(axis=2)
    cap = 4 * np.average(square, weights=evidence.weight) + 1e-12
    return float(np.average(np.minimum(square, cap), weights=evidence.weight))


def _search_shift(
    evidence: DiscEvidence, disc: float, start: tuple[float, float], reach: float
) -> tuple[float, float]:
    """Descend over shifts on a shrinking cross."""
    best, cost = start, residual(evidence, disc, start)
    step = reach
    while step > 0.2:
        trials = [(best[0] + dx * step, best[1] + dy * step) for dx, dy in _AROUND]
        costs = [residual(evidence, disc, t) for t in trials]
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
    for ratio in (1.14, 1.05):
        trials = [disc / ratio, disc, disc * ratio]
        costs = [residual(evidence, d, shift) for d in trials]
        while np.argmin(costs) != 1 and 3 < trials[1] < max(evidence.weight.shape) / 2:
            grow = ratio if np.argmin(costs) == 2 else 1 / ratio
            trials = [d * grow for d in trials]
            costs = [residual(evidence, d, shift) for d in trials]
        bend = costs[0] - 2 * costs[1] + costs[2]
        offset = 0.5 * (costs[0] - costs[2]) / bend if bend > 0 else 0.0
        disc = trials[1] * ratio ** float(np.clip(offset, -1, 1))
    return disc
