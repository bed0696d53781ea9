"""Flare: light that one frame has all over, and that lifts its shadows."""

import numpy as np

from blendkit.alignment import Light
from blendkit.alignment.cells import Cells
from blendkit.alignment.robust_fit import reweighted_fit

_LARGEST = 0.02


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
