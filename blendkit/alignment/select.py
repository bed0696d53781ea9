"""The motion model, chosen by evidence: never more than the zone in focus can carry.

Every model is judged by the error over the whole frame that it would leave: its own random error
(from the block covariance) and, for a simpler model, the motion of the richer one that it cannot
follow.  A richer model is taken only where that motion is larger than three times the random error
that the richer model would bring.  A zone in a corner of the frame tells little about a
perspective, so the random error of a homography is then large and the similarity stays.
"""

from blendkit.alignment import models
from blendkit.alignment.fit import Fit
from blendkit.alignment.refine import is_soft, plain_shift, refit
from blendkit.frame import Float
from blendkit.settings import AlignmentSettings

_SIGNIFICANT = 3.0
_LEAST_GAIN_SHARE = 2e-5
"""Motion that is worth another model, of the long side: 0.02 px of 1200."""


def with_best_model(
    background: Float,
    foreground: Float,
    fit: Fit,
    settings: AlignmentSettings,
    *,
    zone: Fit | None = None,
) -> Fit:
    """Return the fit with the model that the settings ask for, or that the evidence supports.

    background, foreground: linear luminance, float32 (height, width); fit: a similarity.
    zone: similarity fitted to the sharpest zone alone; it must ask for a richer model, too, because
    two zones that moved differently look like a perspective.
    """
    if settings.model == fit.model:
        return fit
    if settings.model != "auto":
        return refit(background, foreground, fit, settings.model)
    size = (background.shape[1], background.shape[0])
    while name := earned(fit, max(size)):
        if zone is not None and not earned(zone, max(size)):
            break
        fit = refit(background, foreground, fit, name)
    # Nobody in focus in both: likely two focuses, and then two magnifications.
    if fit.model == "similarity" and not is_soft(fit) and not _needs_similarity(fit, size):
        return refit(background, foreground, fit, "translation")
    return fit


def earned(fit: Fit, long_side_px: int) -> str | None:
    """Return the simplest richer model whose motion stands out from its own random error.

    fit: any; long_side_px: of the full frame.
    """
    for name, (motion_px, error_px) in fit.richer_px.items():
        if motion_px > max(_SIGNIFICANT * error_px, _LEAST_GAIN_SHARE * long_side_px):
            return name
    return None


def _needs_similarity(fit: Fit, size: tuple[int, int]) -> bool:
    """Tell whether rotation and scale stand out from their random error."""
    apart_px = models.grid_distance_px(fit.matrix, plain_shift(fit), size)
    return apart_px > max(_SIGNIFICANT * fit.frame_error_px, _LEAST_GAIN_SHARE * max(size))
