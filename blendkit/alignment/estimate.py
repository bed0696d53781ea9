"""The alignment stage in order: coarse search, fine fits, choice of model, confidence."""

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from blendkit.alignment import Alignment, models
from blendkit.alignment.coarse import Candidate, coarse_search, score_at
from blendkit.alignment.content import PAIR, check_content
from blendkit.alignment.fit import Fit
from blendkit.alignment.local import with_local_motion
from blendkit.alignment.quality import Evidence, confidence_of, stated_uncertainty_px
from blendkit.alignment.refine import first_discs, is_soft, refine
from blendkit.alignment.refusal import refuse
from blendkit.alignment.select import earned, with_best_model
from blendkit.alignment.sharpest import ask_sharpest
from blendkit.alignment.ties import CLICK_ERROR_SHARE, Tie, fit_ties
from blendkit.errors import AlignmentError
from blendkit.frame import Float, Matrix, luminance
from blendkit.settings import AlignmentSettings

_APART_PX = 1.5
"""Candidates nearer than this, px of the coarse picture, lead to one fit."""

_TIED_TURN_DEG, _TIED_SCALE, _TIED_OVERLAP = 20.0, 0.25, 0.3
"""What somebody may tie that the search would not try; beyond it a click was wrong."""

_FINE_WEIGHT, _SUPPORT_WEIGHT = 10.0, 1.0
"""Say of a correlation in fine detail and in the band of the fit, against one in large tones: each
has more independent samples than the last."""
_STRAYED = 0.05
"""Confidence of a fit that ran off to a turn or scale that was not even searched."""


def align(
    background: Float,
    foreground: Float,
    settings: AlignmentSettings,
    *,
    ties: Sequence[Tie] = (),
    names: tuple[str, str] = PAIR,
) -> Alignment:
    """Find where the foreground frame lies on the background frame.

    Parameters
    ----------
    background, foreground : ndarray
        Linear light, float32 (height, width, 3), of one size.
    settings : AlignmentSettings
        Model, search ranges and the confidence below which the fit is refused.
    ties : sequence of ((x, y), (x, y))
        Points found by hand, background px and foreground px; they replace the search, and the
        pixels refine them where they can.
    names : (str, str)
        What the two are called in a sentence, where they are no pair's own.

    Returns
    -------
    Alignment

    Raises
    ------
    AlignmentError
        A frame holds nothing to align, the tie points contradict each other, or the confidence is
        below settings.least_confidence.
    InputError
        Both frames are the same picture.
    """
    light_b, light_f = luminance(background), luminance(foreground)
    check_content(light_b, light_f, names)
    if ties:
        return _from_ties(light_b, light_f, ties, settings)
    fit = _search(light_b, light_f, settings)
    found = _described(light_b, light_f, fit, settings)
    if models.strays(fit.matrix, settings.rotation_range_deg, settings.scale_range):
        found = replace(found, confidence=min(found.confidence, _STRAYED))
    if found.confidence < settings.least_confidence:
        refuse(light_b, light_f, found, settings)
    return with_local_motion(light_b, light_f, found)


def _search(light_b: Float, light_f: Float, settings: AlignmentSettings) -> Fit:
    """Return the fit that the better of the coarse candidates leads to."""
    first = working_factors(max(light_b.shape), settings)[0]
    tried = []
    for start in _distinct(coarse_search(light_b, light_f, settings), light_b.shape, settings):
        # Tried apart: what is sharp predicts the least error, by chance too, and only the whole
        # picture tells which is right.
        for discs_px in first_discs(settings.largest_relative_disc_px):
            fit = refine(light_b, light_f, start.matrix, [first], settings, discs_px=discs_px)
            tried.append((_merit(score_at(light_b, light_f, fit.matrix, settings), fit), fit))
    _, fit = max(tried, key=lambda pair: pair[0])
    return _finest(light_b, light_f, fit.matrix, settings, fit)


def _finest(
    light_b: Float,
    light_f: Float,
    start: Matrix,
    settings: AlignmentSettings,
    found: Fit | None = None,
) -> Fit:
    """Fit a similarity from coarse to fine, then the model that settings or evidence ask for."""
    factors = working_factors(max(light_b.shape), settings)
    fit = refine(light_b, light_f, start, factors, settings, found=found)
    soft = found if found and is_soft(found) else None
    sharpest = ask_sharpest(light_b, light_f, fit, factors, soft=soft)
    own = sharpest.own
    # A zone spread over the frame contradicts a similarity, too, where the lens asks for more.
    if own and sharpest.leads and _may_lead(own, light_b, settings):
        fit = own
    else:
        fit = with_best_model(light_b, light_f, fit, settings, zone=own)
    return replace(fit, apart_px=sharpest.apart_px, doubt_px=sharpest.doubt_px)


def _may_lead(own: Fit, light_b: Float, settings: AlignmentSettings) -> bool:
    asks_for_more = settings.model == "auto" and earned(own, max(light_b.shape)) is not None
    return settings.model in ("auto", own.model) and not asks_for_more


def _merit(scores: dict[str, float], fit: Fit) -> float:
    """Return how well a fit explains a pair: log likelihoods of its correlations, weighted."""
    explained = {name: _likelihood(score) for name, score in scores.items()}
    return (
        _FINE_WEIGHT * explained["fine"]
        + explained["soft"]
        + _SUPPORT_WEIGHT * fit.support * _likelihood(fit.correlation)
    )


def _likelihood(correlation: float) -> float:
    """Return the log likelihood that a correlation gains over none, each independent sample.

    >>> round(_likelihood(0.9), 2), round(_likelihood(0.1), 3)
    (0.83, 0.005)
    """
    return -0.5 * float(np.log(1 - np.clip(correlation, 0, 0.999) ** 2))


def _described(light_b: Float, light_f: Float, fit: Fit, settings: AlignmentSettings) -> Alignment:
    scores = score_at(light_b, light_f, fit.matrix, settings)
    evidence = Evidence(
        fine=scores["fine"],
        soft=scores["soft"],
        predicted_px=fit.frame_error_px,
        halves_px=fit.halves_px,
        apart_px=fit.apart_px,
        doubt_px=fit.doubt_px,
        support=fit.support,
        relative_disc_px=fit.relative_disc_px,
        long_side_px=max(light_b.shape),
    )
    return Alignment(
        matrix=fit.matrix,
        model=fit.model,
        residual_px=fit.residual_px,
        uncertainty_px=stated_uncertainty_px(evidence),
        confidence=confidence_of(evidence),
        score=evidence.fine,
        relative_disc_px=fit.relative_disc_px,
        support=fit.support,
        weights=fit.weights,
        weights_factor=fit.factor,
        evidence=evidence,
    )


def _from_ties(
    light_b: Float, light_f: Float, ties: Sequence[Tie], settings: AlignmentSettings
) -> Alignment:
    """Fit the ties, then the pixels from there; keep whichever the clicks' accuracy allows."""
    size = (light_b.shape[1], light_b.shape[0])
    matrix, model = fit_ties(ties, size, settings.model)
    _check_ties(matrix, size)
    click_px = CLICK_ERROR_SHARE * max(size)
    fit = _finest(light_b, light_f, matrix, settings)
    found = _described(light_b, light_f, fit, settings)
    here = np.array([tie[0] for tie in ties], np.float64)
    moved = models.apply(fit.matrix, here) - models.apply(matrix, here)
    near = float(np.sqrt(np.square(moved).sum(axis=1).mean())) < 2.5 * click_px
    if near and found.confidence >= settings.least_confidence:
        return found
    return replace(
        given_alignment(matrix, size), model=model, uncertainty_px=2 * click_px, confidence=0.8
    )


def _check_ties(matrix: Matrix, size: tuple[int, int]) -> None:
    """Refuse ties that turn or scale one frame as no pair of frames is, or push it aside."""
    left = models.overlap(matrix, size)
    if models.strays(matrix, _TIED_TURN_DEG, _TIED_SCALE) or left < _TIED_OVERLAP:
        raise AlignmentError(
            "the tie points turn, scale or shift one frame so far that it cannot be the other's "
            f"partner ({100 * left:.0f} % in common): check that each names one point twice"
        )


def _distinct(
    candidates: list[Candidate], shape: tuple[int, ...], settings: AlignmentSettings
) -> list[Candidate]:
    """Keep the best three that lie apart from each other."""
    size = (shape[1], shape[0])
    apart_px = _APART_PX * max(max(shape) / settings.coarse_size_px, 1)
    kept: list[Candidate] = []
    for item in candidates:
        gaps = [models.grid_distance_px(item.matrix, other.matrix, size) for other in kept]
        if not gaps or min(gaps) > apart_px:
            kept.append(item)
    return kept[:3]


def working_factors(long_side_px: int, settings: AlignmentSettings) -> list[int]:
    """Return the reductions to fit at, coarsest first.

    Examples
    --------
    >>> working_factors(1200, AlignmentSettings()), working_factors(6000, AlignmentSettings())
    ([4, 2, 1], [16, 8, 4])
    """
    coarsest = long_side_px / settings.coarse_size_px
    factors = [2**k for k in range(12) if 2**k <= max(coarsest, 1)]
    fine_enough = [f for f in factors if long_side_px / f <= settings.finest_size_px]
    return sorted(fine_enough or factors[-1:], reverse=True)


def given_alignment(matrix: Matrix, size: tuple[int, int]) -> Alignment:
    """Return an alignment that the user vouches for; size is (width, height), px."""
    return Alignment(
        matrix=matrix,
        model="given",
        residual_px=0.0,
        uncertainty_px=0.0,
        confidence=1.0,
        score=1.0,
        relative_disc_px=0.0,
        support=1.0,
        weights=np.ones((1, 1), np.float32),
        weights_factor=max(size),
    )
