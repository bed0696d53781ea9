"""Flare: light that one frame has all over, and that lifts its shadows."""

import numpy as np

from blendkit.alignment import Light
from blendkit.alignment.cells import Cells
from blendkit.alignment.robust_fit import reweighted_fit
from blendkit.filters.robust import weighted_median
from blendkit.frame import Float

_LARGEST = 0.02
_BINS = 8


def fit_flare(cells: Cells, start: Light) -> tuple[float, float, float]:
    """Fit the light to take off the foreground frame, per channel, relative to white.

    With b = log2 of the background's light, model  b = log2(f - flare) + gain + fall-off,  which
    for a small flare is linear:  b - log2 f = gain + fall-off - flare / (f ln 2).

    start: gain and fall-off fitted without flare.  Negative where the background frame has more.
    """
    light_f = np.exp2(cells.logs_f.astype(np.float64))
    flare = np.zeros(3)
    for channel in range(3):
        for _ in range(3):
            left = np.maximum(light_f[..., channel] - flare[channel], light_f[..., channel] / 4)
            difference = cells.logs_b[..., channel] - np.log2(left)
            rows = np.column_stack(
                [
                    np.ones(left.size),
                    cells.radial.reshape(-1, 3) @ np.array(start.falloff_ev),
                    (-1 / (left * np.log(2))).ravel(),
                ]
            )
            fitted, _ = reweighted_fit(
                rows, difference.ravel(), cells.weight[..., channel].ravel(), ridge=1e-9
            )
            flare[channel] = np.clip(flare[channel] + fitted[2], -_LARGEST, _LARGEST)
    return float(flare[0]), float(flare[1]), float(flare[2])


def tone_spread_ev(cells: Cells, residual: Float) -> float:
    """Return how far the residual's median differs between tones, EV, largest less smallest.

    residual: (h, w, 3), EV.  Tones with under 3 % of the weight do not count.
    """
    tone, values, weights = (x.reshape(-1) for x in (cells.logs_f, residual, cells.weight))
    low, high = np.quantile(tone[weights > 0], (0.02, 0.98)) if (weights > 0).any() else (0, 0)
    if high - low < 0.5:
        return 0.0
    which = np.clip(((tone - low) / (high - low) * _BINS).astype(int), 0, _BINS - 1)
    medians = []
    for index in range(_BINS):
        part = which == index
        if weights[part].sum() > 0.03 * weights.sum():
            medians.append(weighted_median(values[part], weights[part] + 1e-12))
    return float(max(medians) - min(medians)) if len(medians) > 1 else 0.0
