"""The thin lens ties both frames' discs together, so relative blur gives absolute blur.

A frame's signed disc is linear in 1/distance: x = A (1/d - 1/s).  So for the two frames of a pair
x_f = ratio x - gap, with one ratio and one gap for the whole picture, and the relative disc r that
`sharpness` measures, r |r| = x^2 - x_f^2, gives x.  The ratio is that of the f-numbers.  The gap
follows from recorded focus distances; where none are recorded, from the frames' own edges: both
frames' edge widths must follow the discs that a gap predicts, up to one factor for the texture,
whose many small edges read sharper than a single one.  That factor differs between a hedge and the
ground before it, so a step of depth that fills much of the picture must not outvote the others.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from blendkit.frame import Capture, Float
from blendkit.midground import LensPair

_FACTORS = (0.18, 0.22, 0.27, 0.33, 0.4, 0.5, 0.65, 0.8, 1.0)
SAME_APERTURE = 0.97
_CLEARLY_BETTER = 0.85
_BEND_PX, _FLOOR_PX, _OFFSET_PX = 1.5, 0.1, 0.3
"""What `edge_discs` reads on five textures under known discs: flat up to 1.5 px, then linear."""
_STEPS, _SHARED = 40, 0.75
"""Steps of depth, and the power of its samples by which a step's weight is divided: at 0 a hedge
outvotes the ground, at 1 a sliver of ground outvotes it.  On 24 scenes the gap came out within
4 % in 17 with 0.75, in 10 with 0, once the bias was taken off."""
_BIAS = 1.05
"""True gap over the one that edges show, median of the same scenes at any size of gap."""
_REFINED = 0.06
_LEAST_SAMPLES = 40
Discs = NDArray[np.float64]


def aperture_ratio(background: Capture, foreground: Capture) -> float:
    """Return the foreground frame's aperture over the background frame's; 1 if not recorded."""
    if not background.f_number or not foreground.f_number:
        return 1.0
    return min(background.f_number / foreground.f_number, 1.0)


def background_disc_px(relative_px: Float, lens: LensPair) -> Float:
    """Return the signed disc in the background frame from the relative disc, same shape.

    Of the two answers that an aperture pair allows, in front and behind, it gives the nearer one.
    """
    square = relative_px * np.abs(relative_px)
    ratio, gap = lens.ratio, lens.gap_px
    if ratio > SAME_APERTURE:
        return np.asarray((square + gap**2) / (2 * max(gap, 1e-6)), np.float32)
    loss = 1 - ratio**2
    root = np.sqrt(np.maximum(gap**2 + loss * square, 0))
    return np.asarray((root - ratio * gap) / loss, np.float32)


def foreground_disc_px(background_px: Float, lens: LensPair) -> Float:
    """Return the signed disc in the foreground frame from that in the background frame."""
    return np.asarray(lens.ratio * background_px - lens.gap_px, np.float32)


def measured_gap_px(
    relative_px: Discs, edges_b: Discs, edges_f: Discs, ratio: float, largest_px: float
) -> float | None:
    """Return the gap that best explains the edges of both frames; None where too few are seen.

    Parameters
    ----------
    relative_px, edges_b, edges_f : ndarray
        1-D, px: relative disc, and the discs that edges show in each frame, nan = no edges.
    ratio : of the apertures.
    largest_px : largest gap tried.
    """
    if np.isfinite(edges_b).sum() + np.isfinite(edges_f).sum() < 2 * _LEAST_SAMPLES:
        return None
    seen = _Seen(relative_px, edges_b, edges_f, _votes(relative_px))
    gap, least = _best_of(np.geomspace(1.0, largest_px, 90), seen, ratio)
    if ratio <= SAME_APERTURE and least > _CLEARLY_BETTER * _misfit(seen, ratio, 0.0):
        # Two apertures at one focus are the rule; another focus must explain the edges better.
        return 0.0
    gap, _ = _best_of(gap * np.geomspace(1 - _REFINED, 1 + _REFINED, 13), seen, ratio)
    return gap * _BIAS


@dataclass(frozen=True, eq=False, slots=True)
class _Seen:
    """Samples, 1-D: relative disc, discs at both frames' edges, px (nan = none), and weight."""

    relative_px: Discs
    edges_b: Discs
    edges_f: Discs
    weight: Discs


def _votes(relative_px: Discs) -> Discs:
    """Return weights that even out the steps of depth, float64, the input's shape."""
    low, high = (float(q) for q in np.quantile(relative_px, [0.002, 0.998]))
    steps = np.linspace(low, high, _STEPS + 1)
    place = np.clip(np.digitize(relative_px, steps) - 1, 0, _STEPS - 1)
    count = np.bincount(place, minlength=_STEPS)
    least = relative_px.size / _STEPS / 4
    return np.asarray(np.maximum(count, least)[place] ** -_SHARED, np.float64)


def _best_of(gaps_px: Discs, seen: _Seen, ratio: float) -> tuple[float, float]:
    """Return the gap of least misfit and that misfit."""
    costs = [_misfit(seen, ratio, float(gap)) for gap in gaps_px]
    best = int(np.argmin(costs))
    return float(gaps_px[best]), costs[best]


def _misfit(seen: _Seen, ratio: float, gap_px: float) -> float:
    """Return the mean capped misfit of edges to a gap's discs, with the best texture factor."""
    lens = LensPair(ratio, gap_px, "measured")
    x = background_disc_px(seen.relative_px.astype(np.float32), lens)
    predicted = np.concatenate([np.abs(x), np.abs(foreground_disc_px(x, lens))])
    edges, weight = np.concatenate([seen.edges_b, seen.edges_f]), np.tile(seen.weight, 2)
    known = np.isfinite(edges)
    predicted, edges, weight = predicted[known], edges[known], weight[known] / weight[known].sum()
    costs = []
    for factor in _FACTORS:
        expected = factor * (np.hypot(predicted, _BEND_PX) - _BEND_PX) + _FLOOR_PX
        gap_of_logs = np.log((expected + _OFFSET_PX) / (edges + _OFFSET_PX))
        costs.append((weight * np.minimum(np.abs(gap_of_logs), 1)).sum())
    return float(min(costs))
