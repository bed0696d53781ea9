"""The alignment stage in order: coarse search, fine fits, choice of model, confidence."""

import numpy as np

from blendkit.alignment import Alignment
from blendkit.alignment.coarse import Candidate, coarse_search, score_at
from blendkit.alignment.quality import confidence_of, refusal
from blendkit.alignment.refine import Fit, refine
from blendkit.errors import AlignmentError
from blendkit.frame import Float, Matrix, luminance
from blendkit.settings import AlignmentSettings


def align(background: Float, foreground: Float, settings: AlignmentSettings) -> Alignment:
    """Find where the foreground frame lies on the background frame.

    Parameters
    ----------
    background, foreground : ndarray
        Linear light, float32 (height, width, 3), of one size.
    settings : AlignmentSettings
        Model, search ranges and the confidence below which the fit is refused.

    Returns
    -------
    Alignment

    Raises
    ------
    AlignmentError
        Where a frame holds nothing to align, or the confidence is below settings.least_confidence.
    """
    light_b, light_f = luminance(background), luminance(foreground)
    for which, light in (("background", light_b), ("foreground", light_f)):
        if float(light.std()) < 1e-5:
            raise AlignmentError(f"the {which} frame is one flat tone: there is nothing to align")
    first, *finer = working_factors(max(light_b.shape), settings)
    scored = []
    for start in _distinct(coarse_search(light_b, light_f, settings)):
        fit = refine(light_b, light_f, start.matrix, [first], settings)
        scored.append((score_at(light_b, light_f, fit.matrix, settings), fit))
    scores, fit = max(scored, key=lambda pair: _merit(*pair))
    fit = refine(
        light_b,
        light_f,
        fit.matrix,
        [first, *finer],
        settings,
        disc_px=fit.relative_disc_px,
    )
    found = Alignment(
        matrix=fit.matrix,
        model="similarity",
        residual_px=fit.residual_px,
        uncertainty_px=2 * fit.frame_error_px,
        confidence=confidence_of(scores, fit, light_b.shape),
        score=scores["fine"],
        relative_disc_px=fit.relative_disc_px,
        support=fit.support,
        weights=fit.weights,
        weights_factor=fit.factor,
    )
    if found.confidence < settings.least_confidence:
        raise AlignmentError(refusal(found))
    return found


def _merit(scores: dict[str, float], fit: Fit) -> float:
    return scores["fine"] + 0.5 * scores["soft"] + 0.5 * fit.correlation


def _distinct(candidates: list[Candidate]) -> list[Candidate]:
    """Keep the best of each channel, and the second best overall."""
    names: list[str] = []
    kept: list[Candidate] = []
    for item in candidates:
        if item.channel not in names or len(kept) < 2:
            kept.append(item)
            names.append(item.channel)
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
