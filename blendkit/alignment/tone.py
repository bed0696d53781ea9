"""A rendered file's tone curve, found from how the frames' ratio changes with tone.

A camera's rendering T is not undone by the ICC profile.  With h = log2 of T's inverse, the two
frames of a pair obey  h(b) - h(f) = gain + fall-off  wherever they show the same thing: linear in
h, so one least squares finds it, up to a factor that does not matter, because what is used is
h^-1(h(f) + gain + fall-off) only (after Debevec & Malik 1997, SIGGRAPH,
doi:10.1145/258734.258884; Kim & Pollefeys 2008, IEEE TPAMI 30(4), doi:10.1109/TPAMI.2007.70732).
"""

import numpy as np
from numpy.typing import NDArray

from blendkit.alignment.cells import Cells
from blendkit.alignment.robust_fit import reweighted_fit
from blendkit.filters.robust import weighted_median
from blendkit.frame import Float

Curve = tuple[tuple[float, float], ...]
"""Knots of (log2 of the rendered value, EV that take it to log2 of linear light)."""

_LOW_EV, _HIGH_EV = -12.0, 0.5
_TERMS = 3
_TERM_RIDGE = 2e-4
_BALANCE_RIDGE = 1e-2
_LEAST_SLOPE, _LARGEST_SLOPE = 0.45, 2.0
_KNOTS = 97
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


def straightened(pixels: Float, curve: Curve) -> Float:
    """Return the linear light of rendered pixels, by a curve; any shape, at least 2**-12."""
    if not curve:
        return pixels
    logs = np.log2(np.maximum(pixels, 2.0**_LOW_EV)).astype(np.float32)
    return np.exp2(curved(logs, curve)).astype(np.float32)


def fit_tone(cells: Cells, before: Curve = ()) -> Curve:
    """Fit the tone curve that makes the ratio of the frames the same at all tones.

    Parameters
    ----------
    cells : Cells
        Means of pixels that `before` has straightened: only means of linear light are the same
        whether a picture is blurred or not.
    before : Curve
        The curve so far; a few rounds of straightening and fitting settle.

    Returns
    -------
    Curve
        `before` followed by the curve fitted; rising in both columns, 0 EV at white.
    """
    logs_b, logs_f = (np.asarray(x, np.float64).reshape(-1) for x in (cells.logs_b, cells.logs_f))
    bend = _basis(logs_b) - _basis(logs_f)
    channel = np.tile(np.eye(3), (len(logs_b) // 3, 1))
    radial = np.repeat(cells.radial.reshape(-1, 3), 3, axis=0)
    rows = np.hstack([channel, radial, -bend])
    weights = cells.weight.reshape(-1)
    fitted, _ = reweighted_fit(rows, logs_b - logs_f, weights, ridge=_penalty())
    at = np.linspace(_LOW_EV, 0.0, _KNOTS)
    straight = np.asarray(curved(at.astype(np.float32), before), np.float64)
    return _rising(at, straight - at + _basis(straight) @ fitted[6:])


def _basis(tones: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return the terms (1 - v) v^k of the EV to add at tones (n,), v = root of light; (n, terms).

    Polynomials in an encoded value, 0 at white: few enough that a tone of which the pair shows
    little is carried by the others.  Cubic splines a stop wide bent where a veil lay (trial pairs).
    """
    value = np.exp2(np.clip(tones, _LOW_EV, _HIGH_EV) / 2)[:, None]
    return np.asarray((1 - value) * value ** np.arange(_TERMS), np.float64)


def _penalty() -> NDArray[np.float64]:
    """Return the penalty: a small curve, and channels alike unless the data insist."""
    penalty = 1e-6 * np.eye(6 + _TERMS)
    # Without this a wrong curve hides in gains that differ, because channels differ in tone.
    penalty[:3, :3] += _BALANCE_RIDGE * (np.eye(3) - 1 / 3)
    penalty[6:, 6:] += _TERM_RIDGE * np.eye(_TERMS)
    return penalty


def _rising(at: NDArray[np.float64], add: NDArray[np.float64]) -> Curve:
    """Return the curve as steep as a picture style can be, downwards from white."""
    step = np.diff(at)
    rise = np.clip(step + np.diff(add), _LEAST_SLOPE * step, _LARGEST_SLOPE * step)
    # From white downwards, so that white stays where it is.
    total = at[-1] + add[-1] - np.concatenate([np.cumsum(rise[::-1])[::-1], [0.0]])
    return tuple((float(x), float(y - x)) for x, y in zip(at, total, strict=True))
