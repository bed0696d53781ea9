"""A rendered file's tone curve, found from how the frames' ratio changes with tone.

A camera's rendering T is not undone by the ICC profile.  With h = log2 of T's inverse, the two
frames of a pair obey  h(b) - h(f) = gain + fall-off  wherever they show the same thing: linear in
h, so one least squares finds it, up to a factor that does not matter, because what is used is
h^-1(h(f) + gain + fall-off) only (after Debevec & Malik 1997, SIGGRAPH,
doi:10.1145/258734.258884; Kim & Pollefeys 2008, IEEE TPAMI 30(4), doi:10.1109/TPAMI.2007.70732).
"""

import numpy as np
from numpy.typing import NDArray
from scipy.interpolate import BSpline

from blendkit.alignment.cells import Cells
from blendkit.alignment.robust_fit import reweighted_fit
from blendkit.filters.robust import weighted_median
from blendkit.frame import Float

Curve = tuple[tuple[float, float], ...]
"""Knots of (log2 of the rendered value, EV that take it to log2 of linear light)."""

_LOW_EV, _HIGH_EV, _STEP_EV = -9.0, 0.5, 1.0
_DEGREE = 3
_BEND_RIDGE = 2e-5
_BALANCE_RIDGE = 1e-2
_TIE = 10.0
_LEAST_SLOPE = 0.1
_KNOTS = 49
_BINS = 8


def curved(logs: Float, curve: Curve, *, inverse: bool = False) -> Float:
    """Return log2 of linear light for log2 of rendered values, or the other way with `inverse`.

    An empty curve changes nothing; beyond the knots the curve goes on as a shift.

    Examples
    --------
    >>> curve = ((-2.0, 0.0), (0.0, 1.0))
    >>> curved(np.array([-1.0]), curve), curved(np.array([-0.5]), curve, inverse=True)
    (array([-0.5]), array([-1.]))
    """
    if not curve:
        return logs
    rendered, add = np.array(curve).T
    if not inverse:
        return np.asarray(logs + np.interp(logs, rendered, add), logs.dtype)
    return np.asarray(logs - np.interp(logs, rendered + add, add), logs.dtype)


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


def fit_tone(cells: Cells) -> Curve:
    """Fit the tone curve that makes the ratio of the frames the same at all tones.

    Returns
    -------
    Curve
        Rising in both columns; the EV added are 0 at the darkest and the lightest tone fitted.
    """
    logs_b, logs_f = (np.asarray(x, np.float64).reshape(-1) for x in (cells.logs_b, cells.logs_f))
    bend = _basis(logs_b) - _basis(logs_f)
    channel = np.tile(np.eye(3), (len(logs_b) // 3, 1))
    radial = np.repeat(cells.radial.reshape(-1, 3), 3, axis=0)
    rows = np.hstack([channel, radial, -bend])
    tones = np.concatenate([logs_b, logs_f])
    ends = _basis(np.quantile(tones[np.tile(cells.weight.reshape(-1), 2) > 0], (0.02, 0.98)))
    fitted, _ = reweighted_fit(
        rows, logs_b - logs_f, cells.weight.reshape(-1), ridge=_penalty(ends)
    )
    at = np.linspace(_LOW_EV, 0.0, _KNOTS)
    return _rising(at, _basis(at) @ fitted[6:])


def _basis(tones: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return cubic B-splines at tones (n,), shape (n, splines)."""
    inner = np.arange(_LOW_EV, _HIGH_EV + _STEP_EV / 2, _STEP_EV)
    before = inner[0] - _STEP_EV * np.arange(_DEGREE, 0, -1)
    after = inner[-1] + _STEP_EV * np.arange(1, _DEGREE + 1)
    knots = np.concatenate([before, inner, after])
    held = np.clip(tones, inner[0], inner[-1] - 1e-9)
    return np.asarray(BSpline.design_matrix(held, knots, _DEGREE).toarray())


def _penalty(ends: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return the penalty: little bending, 0 at both ends, channels alike unless data insist."""
    count = ends.shape[1]
    second = np.diff(np.eye(count), n=2, axis=0)
    penalty = 1e-6 * np.eye(6 + count)
    # Without this a wrong curve hides in gains that differ, because channels differ in tone.
    penalty[:3, :3] += _BALANCE_RIDGE * (np.eye(3) - 1 / 3)
    penalty[6:, 6:] += _BEND_RIDGE * second.T @ second + _TIE * ends.T @ ends
    return penalty


def _rising(at: NDArray[np.float64], add: NDArray[np.float64]) -> Curve:
    """Return the curve with every step of rendered + added at least a tenth of the step."""
    step = np.diff(at)
    rise = np.maximum(step + np.diff(add), _LEAST_SLOPE * step)
    total = at[0] + add[0] + np.concatenate([[0.0], np.cumsum(rise)])
    return tuple((float(x), float(y - x)) for x, y in zip(at, total, strict=True))
