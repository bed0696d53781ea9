"""How far an alignment can be trusted: figures of the evidence, confidence, stated uncertainty."""

from dataclasses import dataclass

import numpy as np

_ENOUGH = 0.27
"""Fine correlation at which right and wrong are equally likely, for one half of the judgement:
pairs with discs of 120 px at 1200 px width reach 0.4, and so do strangers with a figure alike."""
_STEEPNESS = 25.0
_COMMON, _COMMON_STEEPNESS = 0.81, 40.0
"""Soft correlation at which right and wrong are equally likely.  In the study unrelated frames stay
below 0.78, although their figures look alike, and pairs of one scene above 0.84."""
_BOUND, _HALVES_BOUND, _APART_BOUND, _DOUBT_BOUND = 2.4, 1.2, 2.0, 1.2
"""Parts of the stated bound, in units of the evidence: predicted error, distance of the halves'
fits, motion of the sharpest zone against the whole fit, and doubt.  The latter two were set on 40
pairs that the study does not hold, the former two on the study; DEVELOPERS.md has what held."""
_FULLY_APART_PX = 0.6
"""Motion between two zones, at 1200 px width, from which on they are told apart; the fit to one
may be pulled by less than that towards the other."""
_DOUBTFUL_PX, _DOUBTED = 0.5, 0.85
"""Doubt, at 1200 px width, from which on the confidence is held below 0.9: zones equally sharp
moved differently, and which of them is the sitter nobody can tell."""
_MATCHED_PX, _MATCHED_BOUND = 10.0, 0.03
"""Relative disc, px at 1200 px width, from which the fit rests on blur laid on the sharper frame,
and the part of the rest by which it may be off: a mechanically vignetted aperture is no disc off
axis, and its middle lies elsewhere."""
_HALVES_APART_PX = 0.5
"""Distance of the fits to two halves of the evidence that speaks neither way, at 1200 px width."""


@dataclass(frozen=True, slots=True)
class Evidence:
    """What speaks for a fit.

    fine, soft: masked correlations of the coarse channels at the fit, -1 to 1.
    predicted_px: RMS error over the frame that the block covariance predicts.
    halves_px: RMS distance over the frame of the fits to two halves of the evidence.
    support: share of the frame that carried the fit.
    relative_disc_px: by which the sharper frame was blurred to be compared.
    long_side_px: of the frame.
    apart_px, doubt_px: how far the sharpest zone contradicts, see `sharpest`.
    """

    fine: float
    soft: float
    predicted_px: float
    halves_px: float
    support: float
    long_side_px: int
    apart_px: float = 0.0
    doubt_px: float = 0.0
    relative_disc_px: float = 0.0


def confidence_of(evidence: Evidence) -> float:
    """Return a confidence of 0 to 1 from the coarse scores and the fit's predicted error."""
    per_px = 1200 / evidence.long_side_px
    apart = np.log10(max(evidence.halves_px * per_px, 1e-6) / _HALVES_APART_PX)
    doubt = float(np.clip(3 * apart, -3, 3)) + 1.5 * max(evidence.predicted_px * per_px - 0.3, 0)
    # Low frequencies of unrelated frames agree up to 0.66, those of a mirrored one more.
    best = max(evidence.fine, _ENOUGH + evidence.soft - 0.9)
    fits = 1 / (1 + np.exp(-_STEEPNESS * (best - _ENOUGH) + doubt))
    # However well a zone fits, two pictures of one scene are alike in their large tones.
    one_scene = 1 / (1 + np.exp(-_COMMON_STEEPNESS * (evidence.soft - _COMMON)))
    sure = min(fits, one_scene)
    if evidence.doubt_px * per_px > _DOUBTFUL_PX:
        sure = min(sure, _DOUBTED)
    return float(sure)


def stated_uncertainty_px(evidence: Evidence) -> float:
    """Return a bound of the RMS error over the frame, px; DEVELOPERS.md says how often it holds."""
    per_px = 1200 / evidence.long_side_px
    parts = (
        _BOUND * evidence.predicted_px,
        _HALVES_BOUND * evidence.halves_px,
        _APART_BOUND * min(evidence.apart_px, _FULLY_APART_PX / per_px),
        _DOUBT_BOUND * evidence.doubt_px,
        _MATCHED_BOUND * max(abs(evidence.relative_disc_px) - _MATCHED_PX / per_px, 0),
    )
    return float(np.sqrt(np.square(parts).sum()))
