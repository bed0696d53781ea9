"""Finds a rendered pair's tone curve from how the frames' ratio changes with tone.

With h = log2 of the curve's inverse, the frames obey  h(b) - h(f) = gain + fall-off  wherever they
show the same thing (after Debevec & Malik 1997, SIGGRAPH, doi:10.1145/258734.258884; Kim &
Pollefeys 2008, IEEE TPAMI 30(4), doi:10.1109/TPAMI.2007.70732).  What is left is divided by the
slope of h, so that it is measured in EV of the files: without that the fit would make everything
small by a flat curve, and noise that is in both h would look like contrast.
"""

import numpy as np
from numpy.typing import NDArray

from blendkit.alignment.cells import Cells
from blendkit.alignment.tone import ToneCurve, rendered, steepness, straightened
from blendkit.filters.robust import tukey_weights
from blendkit.frame import Float

TYPICAL = ToneCurve(0.15, 0.1)
"""A mild picture style (common practice, no source)."""
_PULL = np.diag([1.6e-4, 0.8e-4])
"""How strongly the fit is pulled there: as by cells that are 0.01 EV off, a few tenths away."""
_LOWEST, _HIGHEST = np.array([-0.3, -1.2]), np.array([1.2, 1.2])
_LARGEST_STEP = 0.3
_RIDGE = 1e-6
_BALANCE_RIDGE = 1e-2
_NUDGE = 1e-3
_LEAST_CONTRAST, _LEAST_LIFT = 0.06, 0.2


def looks_rendered(curve: ToneCurve) -> bool:
    """Return whether a curve is one that a camera would use, and not an error of a linear pair.

    Linear trial pairs gave a contrast of at most 0.06 and a lift of at most 0.16.
    """
    return curve.contrast > _LEAST_CONTRAST or curve.lift > _LEAST_LIFT


def next_curve(
    cells: Cells, design: NDArray[np.float64], left_ev: Float, curve: ToneCurve, cut_ev: float
) -> ToneCurve:
    """Return the curve after one step of Gauss-Newton.

    Parameters
    ----------
    cells : Cells
        Means of pixels that `curve` has straightened: only means of linear light are the same
        whether a picture is blurred or not.
    design : ndarray
        (3 cells, p): rows of gain and fall-off, gains first.
    left_ev : ndarray
        What gain and fall-off leave between the frames' cells, (h, w, 3), EV of linear light.
    curve : ToneCurve
        The curve so far.
    cut_ev : float
        Cells that are further off have no say, EV of the files.
    """
    logs = [np.asarray(x, np.float64).reshape(-1) for x in (cells.logs_b, cells.logs_f)]
    values = [np.asarray(rendered(np.exp2(x), curve), np.float64) for x in logs]
    difference, slope = _compared(values, curve)
    left = left_ev.reshape(-1).astype(np.float64)
    expected = difference - left
    rows = [design / slope[:, None]]
    for nudge in np.eye(2) * _NUDGE:
        nudged, its_slope = _compared(values, ToneCurve(*(np.array(curve) + nudge)))
        rows.append(((left / slope - (nudged - expected) / its_slope) / _NUDGE)[:, None])
    weights = cells.weight.reshape(-1) * tukey_weights(left / slope, cut_ev)
    total = float(cells.weight.sum()) + 1e-12
    share = np.asarray(weights / total, np.float64)
    step = _one_step(np.hstack(rows), difference / slope, share, curve)
    contrast, lift = np.clip(np.array(curve) + step, _LOWEST, _HIGHEST)
    return ToneCurve(float(contrast), float(lift))


def _compared(
    values: list[NDArray[np.float64]], curve: ToneCurve
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Return h(b) - h(f) in EV and the mean slope of h, of both frames' rendered values."""
    logs = [np.log2(straightened(v, curve)) for v in values]
    slopes = [steepness(v, curve) for v in values]
    return logs[0] - logs[1], (slopes[0] + slopes[1]) / 2


def _one_step(
    rows: NDArray[np.float64],
    values: NDArray[np.float64],
    weights: NDArray[np.float64],
    curve: ToneCurve,
) -> NDArray[np.float64]:
    """Return the change of contrast and lift that fits weighted cells and the typical style."""
    penalty = _penalty(rows.shape[1])
    pulled = np.zeros(rows.shape[1])
    penalty[-2:, -2:] += _PULL
    pulled[-2:] = _PULL @ (np.subtract(TYPICAL, curve))
    scaled = rows * weights[:, None]
    solved = np.linalg.solve(scaled.T @ rows + penalty, scaled.T @ values + pulled)
    return np.asarray(np.clip(solved[-2:], -_LARGEST_STEP, _LARGEST_STEP), np.float64)


def _penalty(size: int) -> NDArray[np.float64]:
    """Return the penalty (size, size): channels alike unless the data insist."""
    penalty = _RIDGE * np.eye(size)
    # Without this a wrong curve hides in gains that differ, because channels differ in tone.
    penalty[:3, :3] += _BALANCE_RIDGE * (np.eye(3) - 1 / 3)
    return penalty
