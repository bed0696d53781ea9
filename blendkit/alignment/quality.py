"""How far an alignment can be trusted."""

import numpy as np

from blendkit.alignment import Alignment
from blendkit.alignment.refine import Fit


def confidence_of(scores: dict[str, float], fit: Fit, shape: tuple[int, ...]) -> float:
    """Return a confidence of 0 to 1 from the coarse scores and the fit's predicted error.

    scores: masked correlations by channel; shape: of the full frame (height, width).
    """
    error = fit.frame_error_px * 1200 / max(shape)
    evidence = 9 * (max(scores["fine"], 0.8 * scores["soft"]) - 0.33) - 1.5 * max(error - 0.3, 0)
    return float(1 / (1 + np.exp(-evidence)))


def refusal(found: Alignment) -> str:
    """Return the sentence that explains a refused alignment and what to try."""
    return (
        f"the frames do not lie on each other (confidence {found.confidence:.2f}, coarse score "
        f"{found.score:.2f}): no zone is in focus in both; check that they show the same scene, "
        "give tie points with --tie X,Y=X,Y, or --aligned if they are aligned already"
    )
