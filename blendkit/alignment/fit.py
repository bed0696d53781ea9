"""The record of a fit at one scale."""

from dataclasses import dataclass

from blendkit.frame import Float, Matrix


@dataclass(frozen=True, eq=False, slots=True)
class Fit:
    """A transform fitted at one scale.

    matrix: full background px to full foreground px.
    model: its name in `models.MODELS`.
    frame_error_px: RMS error over the frame that the block covariance predicts, full px.
    halves_px: RMS distance over the frame of the fits to two halves of the evidence, full px.
    residual_px: weighted RMS of the residual expressed as motion, full px.
    correlation: weighted correlation of the two bands after the fit, -1 to 1.
    relative_disc_px: full px, positive where the background frame is softer.
    support: share of the frame's area that carried the fit.
    richer_px: richer model to (motion it would add, error it would have), RMS over the frame.
    weights, factor: float32 evidence map at 1/factor of full size.
    apart_px, doubt_px: how far the sharpest zone contradicts, see `sharpest`; full px.
    """

    matrix: Matrix
    model: str
    frame_error_px: float
    halves_px: float
    residual_px: float
    correlation: float
    relative_disc_px: float
    support: float
    richer_px: dict[str, tuple[float, float]]
    weights: Float
    factor: int
    apart_px: float = 0.0
    doubt_px: float = 0.0
