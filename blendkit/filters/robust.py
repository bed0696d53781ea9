"""Means that a few wild values cannot move."""

import numpy as np
from numpy.typing import NDArray

from blendkit.frame import Float

MAD_TO_SIGMA = 1.4826
"""Median absolute deviation to standard deviation for Gaussian values: 1 / Phi^-1(3/4)."""


def robust_sigma(values: NDArray[np.floating]) -> float:
    """Return the standard deviation estimated from the median absolute deviation about 0.

    Examples
    --------
    >>> round(robust_sigma(np.random.default_rng(1).normal(0, 2, 10_000)), 1)
    2.0
    """
    return float(MAD_TO_SIGMA * np.median(np.abs(values))) if values.size else 0.0


def tukey_weights(residuals: NDArray[np.floating], cutoff: float) -> Float:
    """Return Tukey's biweight (1 - (r/c)^2)^2, 0 beyond the cutoff c; the residuals' shape."""
    inside = np.clip(1 - np.square(residuals / max(cutoff, 1e-12)), 0, None)
    return np.asarray(np.square(inside), np.float32)


def weighted_median(values: NDArray[np.floating], weights: NDArray[np.floating]) -> float:
    """Return the value below which half of the weight lies (1-D arrays of one length).

    Examples
    --------
    >>> weighted_median(np.array([1.0, 2.0, 10.0]), np.array([1.0, 1.0, 5.0]))
    10.0
    """
    order = np.argsort(values)
    total = np.cumsum(weights[order])
    return float(values[order][np.searchsorted(total, total[-1] / 2)])
