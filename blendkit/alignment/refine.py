"""Fine fit: Gauss-Newton on a thin band of linear light, weighted to what both frames show.

Why so, found on simulated pairs with a sitter in focus on a tenth of the frame:

* luminance stays *linear*: a logarithm or a root moves the edges of blurred silhouettes;
* a thin band (difference of Gaussians) divided by its wide mean treats all contrasts alike;
* weights come from the windowed correlation of the two bands, so the zone in focus in both frames
  is found, not assumed, and a blurred foreground drops out by itself;
* the gain is *local*, within 0.3 to 3 times the global one: it absorbs exposure, fall-off and veil;
* the sharper frame is first blurred by the relative disc, fitted too, up to 20 px of the scale;
* Tukey weights hold off what moved.
"""

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from blendkit.alignment import models
from blendkit.alignment.fit import Fit
from blendkit.alignment.level import SOUGHT_FROM_PX, Level, shift_by
from blendkit.frame import Float, Matrix
from blendkit.settings import AlignmentSettings

_DISCS_PX = (0.0, 1.0, 2.0, 3.0, 4.5, 7.0, 10.0, 14.0, 20.0, 28.0, 40.0)

_CLEARLY_LESS = 0.4
"""Part of a soft fit's predicted error that a sharper one may promise at most to be followed.  With
somebody in focus it is 0.1 to 0.25, with nobody, compared at a wrong blur, mostly 0.5 to 0.9."""
_LEFT_SHARE = 0.003
"""Residual, as motion, of the long side, up to which a fit may have compared like with like.  With
somebody in focus it is up to 2.6 px of 1200, with nobody, compared at a wrong blur, 4.5 to 14."""


def refine(
    background: Float,
    foreground: Float,
    start: Matrix,
    factors: Sequence[int],
    settings: AlignmentSettings,
    *,
    model: str = "similarity",
    discs_px: Sequence[float] = (),
    found: Fit | None = None,
) -> Fit:
    """Fit the transform from coarse to fine.

    Parameters
    ----------
    background, foreground : ndarray
        Linear luminance, float32 (height, width).
    start : Matrix
        First guess, full px, right to about 1.5 px of the first scale.
    factors : sequence of int
        Reductions to work at, coarsest first.
    settings : AlignmentSettings
        Uses largest_relative_disc_px.
    model : str
        A name in `models.MODELS`.
    discs_px : sequence of float, optional
        Relative discs to try at the first scale, px of it; without them, those around `found`'s,
        or all.
    found : Fit, optional
        Where `start` comes from; whatever does not bear it out is not followed.

    Returns
    -------
    Fit
        Of the last factor at which the finer band still improved the fit.
    """
    matrix, best = start, found
    soft = found if found and is_soft(found) else None
    for factor in factors:
        level = Level(background, foreground, factor, matrix, best)
        trials = _trial_discs(best, factor, settings.largest_relative_disc_px)
        fit = level.fit(matrix, trials if best else discs_px or trials, model)
        if soft and not borne_out(fit, soft, max(background.shape)):
            fit = level.fit(soft.matrix, [soft.relative_disc_px / factor], model)
        if best is not None and not _carries_on(best, fit):
            break
        best, matrix = fit, fit.matrix
    assert best is not None  # noqa: S101 - factors is never empty
    if soft is None or not is_soft(best):
        return best
    seen = _seen_in_focus(background, foreground, best, factors, model)
    finer = [factor for factor in factors if seen and factor < seen.factor]
    if seen is None or not finer:
        return seen or best
    return refine(background, foreground, seen.matrix, finer, settings, model=model, found=seen)


def _seen_in_focus(
    background: Float, foreground: Float, soft: Fit, factors: Sequence[int], model: str
) -> Fit | None:
    """Return the fit to somebody who is in focus, but so small that only finer scales show it."""
    for factor in (f for f in factors if f < soft.factor):
        level = Level(background, foreground, factor, soft.matrix, soft)
        fit = level.fit(soft.matrix, [0.0], model)
        if borne_out(fit, soft, max(background.shape)):
            return fit
    return None


def refit(background: Float, foreground: Float, fit: Fit, model: str) -> Fit:
    """Return the fit of another model at the same scale and disc, started from a fit.

    background, foreground: linear luminance, float32 (height, width).
    """
    level = Level(background, foreground, fit.factor, fit.matrix, fit)
    start = plain_shift(fit) if model == "translation" else fit.matrix
    return level.fit(start, [fit.relative_disc_px / fit.factor], model)


def plain_shift(fit: Fit) -> Matrix:
    """Return the shift that agrees with a fit at the middle of its evidence."""
    middle = _middle(fit)
    return shift_by(*(models.apply(fit.matrix, middle) - middle)[0])


def _middle(fit: Fit) -> NDArray[np.float64]:
    rows, columns = np.indices(fit.weights.shape)
    total = float(fit.weights.sum()) + 1e-12
    place = [float((axis * fit.weights).sum()) / total for axis in (columns, rows)]
    return np.array([place]) * fit.factor


def first_discs(largest_px: float) -> list[list[float]]:
    """Return the relative discs of a zone about as sharp in both frames, and those of others, px.

    >>> first_discs(20.0)
    [[-4.5, -2.0, 0.0, 2.0, 4.5], [-20.0, -14.0, -10.0, 10.0, 14.0, 20.0]]
    >>> first_discs(5.0)
    [[-4.5, -2.0, 0.0, 2.0, 4.5]]
    """
    ranges = (-4.5, -2.0, 0.0, 2.0, 4.5), (-20.0, -14.0, -10.0, 10.0, 14.0, 20.0)
    allowed = ([disc for disc in discs if abs(disc) <= largest_px] for discs in ranges)
    return [discs for discs in allowed if discs]


def _trial_discs(found: Fit | None, factor: int, largest_px: float) -> list[float]:
    """Return the relative discs to try, px of the scale: a few, or those around a coarser fit's."""
    if found is None:
        return [disc for discs in first_discs(largest_px) for disc in discs]
    side = [d for d in _DISCS_PX if d <= largest_px]
    every = [-d for d in reversed(side[1:])] + side
    middle = int(np.argmin(np.abs(np.array(every) - found.relative_disc_px / factor)))
    nearby = every[max(middle - 2, 0) : middle + 2]
    if is_soft(found):
        nearby.append(found.relative_disc_px / factor)
    return sorted({0.0, *nearby})


def is_soft(fit: Fit) -> bool:
    """Tell whether a fit rests on much blur laid on the sharper frame: on what nobody focused."""
    return abs(fit.relative_disc_px) >= SOUGHT_FROM_PX * fit.factor


def borne_out(fit: Fit, soft: Fit, long_side_px: int) -> bool:
    """Tell whether a fit to something sharper may follow a soft one.

    It must promise far less error and leave little: what is compared at a wrong blur takes its own
    error for a fraction of what it is, and its residuals, as motion, are several px.
    """
    if is_soft(fit):
        return True
    less = fit.frame_error_px < _CLEARLY_LESS * soft.frame_error_px
    return less and fit.residual_px < _LEFT_SHARE * long_side_px


def _carries_on(coarser: Fit, finer: Fit) -> bool:
    """Tell whether the finer fit improves on the coarser one.

    It does not where the finer band holds only noise: the predicted error then grows, or the fit
    runs off by far more than the coarser one's error allows.
    """
    moved = models.frame_distance_px(coarser.matrix, finer.matrix, finer.weights, finer.factor)
    plausible = moved < 3 * coarser.frame_error_px + 1.5 * coarser.factor
    return plausible and finer.frame_error_px < 1.05 * coarser.frame_error_px
