"""Light: what brings the foreground frame into the background frame's light.

Only the *ratio* of the frames can be seen, and only the ratio is needed.  Per channel it is a gain;
over the picture it is an even radial polynomial, shared by the channels, because a fast lens wide
open loses 0.5 to 2 stops in the corners and hardly any stopped down (Goldman 2010, IEEE TPAMI
32(12), doi:10.1109/TPAMI.2010.55).

The frames differ in blur, so single pixels do not compare.  Means over a few per cent of the width
do, where the picture is smooth: weights fall with the local contrast, and Tukey's weights drop what
differs for another reason (a moved bough, a veil, a cloud's shadow).
"""

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from blendkit.alignment import Light
from blendkit.alignment.cells import DARK, Cells, make_cells
from blendkit.alignment.flare import fit_flare, tone_spread_ev
from blendkit.alignment.light_notes import light_notes
from blendkit.alignment.relight import apply_light
from blendkit.alignment.robust_fit import reweighted_fit
from blendkit.alignment.smooth_local import LocalLight, fit_local, local_terms
from blendkit.alignment.tone import ToneCurve, rendered, steepness, straightened
from blendkit.alignment.tone_fit import TYPICAL, looks_rendered, next_curve
from blendkit.filters.resample import reduce_by, share_in_cells
from blendkit.filters.robust import weighted_median
from blendkit.frame import Bool, Capture, Float, Frame
from blendkit.settings import LightSettings

_NONE = Light((0.0, 0.0, 0.0), (0.0, 0.0, 0.0), 0.0)
"""No difference of light."""
_RIDGE = 1e-6
_ONE_GAIN_FITS_EV = 0.025
"""Spread of the ratio over the tones up to which one gain is taken to fit them all."""
_MENDS = 0.5
"""Spread over the tones left, of the one gain's, from which flare is taken."""
_EVEN_ENOUGH_EV = 0.004
"""Residual of gain and fall-off up to which no curve is sought: 0.005 to 0.1 on rendered pairs,
0.002 to 0.008 on linear ones; what it would mend is under half of what the eye could tell."""
_MISFIT_CAP_EV = 0.05
_STRAIGHTEN_PX = 800
"""Long side of the picture on which pixels are straightened while the curve is sought."""
_WHOLLY = 0.999
_ROUNDS = 9
_SETTLED = 0.003
"""Change of contrast and lift from which the curve has settled."""
_CUT, _LEAST_CUT_EV = 5.0, 0.02


def fit_light(
    background: Frame,
    aligned: Float,
    usable: Bool,
    settings: LightSettings,
    *,
    recorded: Capture | None = None,
) -> Light:
    """Fit gain, fall-off ratio and, where one gain does not fit all tones, flare or a tone curve.

    Parameters
    ----------
    background : Frame
        The frame whose light is kept.
    aligned : ndarray
        The foreground frame on the background grid, float32 (height, width, 3), its own light.
    usable : ndarray
        bool (height, width): False where it is not covered, clipped, or painted as foreground.
    settings : LightSettings
        window_share, follow_local.
    recorded : Capture, optional
        What the camera recorded with the foreground frame, for cross-checks.

    Returns
    -------
    Light
        residual_ev is the weighted median left; notes say what looks wrong.
    """
    own, window = background.pixels, settings.window_share
    followed = _local_beside(own, aligned, usable, window) if settings.follow_local else None
    if followed is not None:
        taken_off = tuple(-value for value in followed.coefficients)
        own = apply_light(own, replace(_NONE, local_ev=taken_off))
    cells, light = _simplest_that_fits(own, aligned, usable, window)
    local = followed or fit_local(cells, _left_ev(cells, light))
    if followed is not None:
        light = replace(light, local_ev=followed.coefficients)
    light = replace(light, local_range_ev=local.range_ev)
    return replace(light, notes=light_notes(light, background.capture, recorded))


def _local_beside(
    background: Float, aligned: Float, usable: Bool, window_share: float
) -> LocalLight:
    """Fit a local light in one with gain and fall-off.

    Fitted first, these would be thrown off one side's cells by a light from the other.
    """
    cells = make_cells(background, aligned, usable, window_share)
    terms = local_terms(cells.shape, cells.places)
    own = np.repeat(terms.reshape(-1, terms.shape[2]), 3, axis=0)  # the same in all channels
    return fit_local(cells, _left_ev(cells, _fit_plain(cells, beside=own)))


def _simplest_that_fits(
    background: Float, aligned: Float, usable: Bool, window_share: float
) -> tuple[Cells, Light]:
    """Return gain and fall-off, with flare or a tone curve where that mends the tones' spread.

    The cells returned hold light straightened by the curve, if there is one.
    """
    cells = make_cells(background, aligned, usable, window_share)
    best = cells, _fit_plain(cells)
    plain = best[1]
    spread = _spread(cells, plain)
    if plain.residual_ev < _EVEN_ENOUGH_EV and spread < _ONE_GAIN_FITS_EV:
        return best
    if spread > _ONE_GAIN_FITS_EV:
        flare = _fit_plain(cells, replace(plain, flare=fit_flare(cells, plain)))
        if _spread(cells, flare) < _MENDS * spread:
            best = cells, flare
    curved = _with_curve(cells, plain, background, aligned, usable, window_share)
    believable = looks_rendered(curved[1].curve)
    return curved if believable and _misfit_ev(*curved) < _misfit_ev(*best) else best


def _with_curve(
    cells: Cells, plain: Light, background: Float, aligned: Float, usable: Bool, window_share: float
) -> tuple[Cells, Light]:
    """Return cells of straightened light and what fits them, curve included.

    A window's mean of rendered values depends on how blurred it is, its mean of linear light does
    not: pixels are straightened by the curve so far and the curve is fitted again.
    """
    factor = max(round(max(usable.shape) / _STRAIGHTEN_PX), 1)
    here, there = reduce_by(background, factor), reduce_by(aligned, factor)
    share = share_in_cells(usable, factor) > _WHOLLY
    curve, cut = TYPICAL, np.inf
    for round_number in range(_ROUNDS):
        straight = straightened(here, curve), straightened(there, curve)
        cells = make_cells(*straight, share, window_share)
        light = _fit_plain(cells, replace(plain, tone="curve", curve=curve))
        # The cut only narrows, so that the steps settle.
        cut = max(min(cut, _CUT * light.residual_ev), _LEAST_CUT_EV)
        after = next_curve(cells, _design(cells.radial), _left_ev(cells, light), curve, cut)
        if round_number == _ROUNDS - 1 or np.abs(np.subtract(after, curve)).max() < _SETTLED:
            break
        curve = after
    return cells, light


def _misfit_ev(cells: Cells, light: Light) -> float:
    """Return the root mean square left, EV of the files, each cell capped at 0.05 EV."""
    left = np.minimum(np.abs(_left_ev(cells, light) / _slope(cells, light.curve)), _MISFIT_CAP_EV)
    total = float(cells.weight.sum()) + 1e-12
    return float(np.sqrt((cells.weight * np.square(left)).sum() / total))


def _slope(cells: Cells, curve: ToneCurve) -> Float:
    """Return the mean slope of log light over log rendered value in both frames, (h, w, 3)."""
    slopes = (steepness(rendered(np.exp2(x), curve), curve) for x in (cells.logs_b, cells.logs_f))
    return np.asarray(sum(slopes) / 2, np.float32)


def _spread(cells: Cells, light: Light) -> float:
    return tone_spread_ev(cells, _left_ev(cells, light))


def _fit_plain(
    cells: Cells, start: Light | None = None, *, beside: NDArray[np.floating] | None = None
) -> Light:
    """Fit gain and fall-off, with the start's flare and curve taken as given.

    beside: further terms, one row per cell and channel, that take what is theirs and are dropped.
    """
    start = start or _NONE
    difference = cells.logs_b - _without_flare(cells.logs_f, start.flare)
    weights, slope = cells.weight.reshape(-1), _slope(cells, start.curve).reshape(-1)
    # In EV of the files: a steep part of the curve magnifies whatever else differs.
    design = _design(cells.radial)
    if beside is not None:
        design = np.hstack([design, beside])
    rows, values = design / slope[:, None], difference.reshape(-1) / slope
    fitted, active = reweighted_fit(rows, values, weights, ridge=_RIDGE)
    light = replace(start, gain_ev=_triple(fitted[:3]), falloff_ev=_triple(fitted[3:6]))
    left = np.abs(_left_ev(cells, light)).reshape(-1) / slope
    return replace(light, residual_ev=weighted_median(left, active + 1e-12))


def _left_ev(cells: Cells, light: Light) -> Float:
    """Return what gain, fall-off and flare leave between the frames' cells, (h, w, 3)."""
    logs = _without_flare(cells.logs_f, light.flare) + np.asarray(light.gain_ev)
    over_frame = (cells.radial @ np.array(light.falloff_ev))[..., None]
    return np.asarray(cells.logs_b - logs - over_frame, np.float32)


def _without_flare(logs: Float, flare: tuple[float, float, float]) -> Float:
    if not any(flare):
        return logs
    return np.asarray(np.log2(np.maximum(np.exp2(logs) - np.asarray(flare), DARK / 4)), np.float32)


def _triple(values: NDArray[np.float64]) -> tuple[float, float, float]:
    return float(values[0]), float(values[1]), float(values[2])


def _design(radial: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return one row per cell and channel: gain r, g, b; r^2, r^4, r^6."""
    flat = radial.reshape(-1, 3)
    rows = np.zeros((flat.shape[0], 3, 6))
    rows[:, :, 3:] = flat[:, None, :]
    rows[:, range(3), range(3)] = 1
    return rows.reshape(-1, 6)
