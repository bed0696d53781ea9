"""Linear least squares that a few wild cells cannot move."""

import numpy as np
from numpy.typing import NDArray

from blendkit.filters.robust import tukey_weights, weighted_median

_ITERATIONS = 15
_CUT = 5.0
_LEAST_SPREAD_EV = 0.002
_SETTLED_EV = 2e-5
"""Change of what is fitted by which nothing is left to gain: one 16-bit code of full light."""


def reweighted_fit(
    rows: NDArray[np.floating],
    values: NDArray[np.floating],
    weights: NDArray[np.floating],
    *,
    ridge: float | NDArray[np.float64],
) -> tuple[NDArray[np.float64], NDArray[np.float32]]:
    """Fit rows @ x = values by iteratively reweighted least squares with Tukey's weights.

    Parameters
    ----------
    rows : ndarray
        (n, p).
    values, weights : ndarray
        (n,).
    ridge : float or ndarray
        Added to the normal matrix, which is divided by the sum of the weights: times identity, or
        a matrix (p, p).

    Returns
    -------
    x : ndarray
        (p,).
    active : ndarray
        The weights of the last step, (n,).
    """
    values = np.asarray(values, np.float64)
    penalty = np.eye(rows.shape[1]) * ridge if np.ndim(ridge) == 0 else np.asarray(ridge)
    active = np.asarray(weights, np.float32)
    fitted: NDArray[np.float64] = np.zeros(rows.shape[1])
    for step in range(_ITERATIONS):
        if step:
            residual = values - rows @ fitted
            spread = weighted_median(np.abs(residual), weights + 1e-12)
            # The first cut is wide: before the fit has settled, much looks wild.
            cut = max(_CUT * spread, _LEAST_SPREAD_EV) * (3 if step == 1 else 1)
            active = np.asarray(weights * tukey_weights(residual, cut), np.float32)
        scaled = rows * active[:, None]
        total = float(active.sum()) + 1e-12
        normal, right = scaled.T @ rows / total + penalty, scaled.T @ values / total
        before, fitted = fitted, np.asarray(np.linalg.solve(normal, right), np.float64)
        if step > 1 and np.abs(rows @ (fitted - before)).max() < _SETTLED_EV:
            break
    return fitted, active
