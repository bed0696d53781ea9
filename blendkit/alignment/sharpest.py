"""Where both frames are sharpest, and whether that zone moves as the whole fit says.

A background that is hardly blurred correlates well and fills most of the frame: with parallax of a
few px the fit then follows it, or falls between it and the sitter.  What tells the two apart is
sharpness.  The energy of a fine band over that of the band an octave below falls with blur and
hardly depends on contrast (a ratio of band energies, as in Pertuz, Puig & Garcia 2013,
doi:10.1016/j.patcog.2012.11.011).  The smaller of both frames' ratios is large only where both are
in focus.
"""

import itertools
from dataclasses import dataclass, replace

import numpy as np

from blendkit.alignment import models
from blendkit.alignment.fit import Fit
from blendkit.alignment.level import Level
from blendkit.alignment.refine import borne_out
from blendkit.alignment.system import WINDOW_PX
from blendkit.filters.bands import band_pass, window_mean
from blendkit.filters.resample import matrix_at_reduced_scale, reduce_by
from blendkit.frame import Float, Matrix

_FINE_PX, _NEXT_PX = (0.7, 1.4), (1.4, 2.8)
_TONES, _QUIET = 8, 8
"""Noise at a tone is taken to be what the quietest 8 % of an eighth of the tones show."""
_NOISE_TAKEN = 1.5
_SHARPEST = 0.97
"""Quantile of the frame that counts as in focus, where anything is."""
_LOOSE, _STRICT = (0.4, 0.3), (0.45, 0.2)
"""Share of the sharpest at which a place begins to count, and the ramp to where it counts fully."""
_SAME_BLUR_EV = 0.3
_LEAST_SUPPORT, _LEAST_CORRELATION = 0.004, 0.3
_DISAGREES = 1.2
"""Motion against the whole fit, in predicted errors of the zone's own, that is no chance."""
_LARGEST_SHARE = 0.015
"""Largest motion against the whole fit that is believed, of the long side."""
_OWN_ERROR = 3.0
_NO_WORSE = 1.05


@dataclass(frozen=True, eq=False, slots=True)
class Sharpest:
    """What the sharpest zone says.

    own: similarity fitted to the zone alone; None where the zone cannot carry one.
    leads: whether it contradicts the whole fit, so that it must be followed.
    apart_px: RMS motion of the zone against the whole fit, full px.
    doubt_px: motion of the very sharpest places against the fit to be followed, beyond what their
        own error explains, full px: 0 where all agree.
    """

    own: Fit | None
    leads: bool
    apart_px: float
    doubt_px: float


def ask_sharpest(
    background: Float,
    foreground: Float,
    fit: Fit,
    factors: list[int],
    *,
    soft: Fit | None = None,
) -> Sharpest:
    """Fit the zone that is sharpest in both frames, and compare it with a fit to all evidence.

    Parameters
    ----------
    background, foreground : ndarray
        Linear luminance, float32 (height, width).
    fit : Fit
        A similarity.
    factors : list of int
        Reductions to work at, coarsest first.
    soft : Fit, optional
        Of a background that nobody focused, where the search found that it leads.
    """
    loose, strict = sharp_zones(background, foreground, fit.matrix, factors[-1])
    own = _zone_fit(background, foreground, fit, loose, factors)
    apart_px = _apart_px(own, fit.matrix) if own else 0.0
    far = apart_px > _LARGEST_SHARE * max(background.shape)
    leads = own is not None and not far and apart_px > _DISAGREES * own.frame_error_px
    if leads and own is not None and soft is not None:
        leads = borne_out(own, soft, max(background.shape))
    followed = own if own is not None and leads else fit
    very = _zone_fit(background, foreground, followed, strict, factors, coarse_only=True)
    doubt_px = apart_px if far else 0.0
    if very is not None:
        moved = _apart_px(very, followed.matrix)
        beyond = moved**2 - (_OWN_ERROR * very.frame_error_px) ** 2
        doubt_px = max(doubt_px, float(np.sqrt(max(beyond, 0.0))))
    return Sharpest(own, leads, apart_px, doubt_px)


def sharp_zones(
    background: Float, foreground: Float, matrix: Matrix, factor: int
) -> tuple[Float, Float]:
    """Return weights, 0 to 1, of what is sharp in both frames, loosely and strictly taken.

    Parameters
    ----------
    background, foreground : ndarray
        Linear luminance, float32 (height, width).
    matrix : Matrix
        Background px to foreground px, right to some px.
    factor : int
        Reduction at which the zones are sought.

    Returns
    -------
    loose, strict : ndarray
        float32, the reduced background frame's shape.  Strict asks for the same blur in both, too.
    """
    light_b, light_f = reduce_by(background, factor), reduce_by(foreground, factor)
    here = _sharpness(light_b)
    size = (here.shape[1], here.shape[0])
    small = matrix_at_reduced_scale(matrix, factor)
    there, valid = models.sample(_sharpness(light_f), small, size)
    there = np.maximum(there, 0)
    both = np.minimum(here, there) * valid
    share = both / (float(np.quantile(both[::2, ::2], _SHARPEST)) + 1e-12)
    differs = np.log2((here + 0.01) / (there + 0.01)) / _SAME_BLUR_EV
    loose, strict = (np.clip((share - at) / ramp, 0, 1) for at, ramp in (_LOOSE, _STRICT))
    return loose.astype(np.float32), (strict * np.exp(-np.square(differs))).astype(np.float32)


def _sharpness(light: Float) -> Float:
    """Return the fine band's energy over the next one's, noise taken off, (height, width)."""
    fine, coarse = (
        np.maximum(window_mean(np.square(band_pass(light, *band)), WINDOW_PX), 0)
        for band in (_FINE_PX, _NEXT_PX)
    )
    tone = window_mean(light, WINDOW_PX)
    noise_fine, noise_coarse = (_noise_at(tone, energy) for energy in (fine, coarse))
    floor = noise_coarse + 0.03 * float(np.median(coarse[::3, ::3])) + 1e-12
    left = np.maximum(fine - _NOISE_TAKEN * noise_fine, 0)
    return np.asarray(left / (np.maximum(coarse - noise_coarse, 0) + floor), np.float32)


def _noise_at(tone: Float, energy: Float) -> Float:
    """Return the energy that noise has at every place's tone: it grows with the light."""
    some_tones, some_energies = tone[::3, ::3], energy[::3, ::3]
    limits = np.quantile(some_tones, np.linspace(0, 1, _TONES + 1))
    quiet = []
    for low, high in itertools.pairwise(limits):
        inside = some_energies[(some_tones >= low) & (some_tones <= high)]
        quiet.append(float(np.percentile(inside, _QUIET)))
    return np.asarray(np.interp(tone, (limits[:-1] + limits[1:]) / 2, quiet), np.float32)


def _zone_fit(
    background: Float,
    foreground: Float,
    start: Fit,
    zone: Float,
    factors: list[int],
    *,
    coarse_only: bool = False,
) -> Fit | None:
    """Return the similarity that a zone alone asks for; None where it carries none.

    zone: weights at the last factor.  coarse_only: leave out the finest scale, where there is
    another: a disagreement shows without it.
    """
    finest = factors[-1]
    where = replace(start, weights=zone, factor=finest)
    best: Fit | None = None
    for factor in factors[:-1] if coarse_only and len(factors) > 1 else factors:
        matrix = best.matrix if best else start.matrix
        allowed = reduce_by(zone, factor // finest)
        level = Level(background, foreground, factor, matrix, where, allowed=allowed)
        discs_px = sorted({0.0, start.relative_disc_px / factor})
        # Without penalty: a zone that asks for the whole fit's disc is no sharper than the rest.
        fit = level.fit(matrix, discs_px, "similarity", penalty=0.0)
        if best and fit.frame_error_px > _NO_WORSE * best.frame_error_px:
            break
        best = fit
    return best if best and _carries(best) else None


def _carries(fit: Fit) -> bool:
    enough = fit.support >= _LEAST_SUPPORT and fit.correlation > _LEAST_CORRELATION
    return bool(enough and np.isfinite(fit.matrix).all())


def _apart_px(own: Fit, other: Matrix) -> float:
    return models.frame_distance_px(own.matrix, other, own.weights, own.factor)
