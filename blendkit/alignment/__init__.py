"""Lays the foreground frame on the background frame although one of them is soft.

Transforms map background px to foreground px.  The order of work:

1. `coarse`      a search over rotation, scale and shift at small size, by masked correlation
2. `refine`      Gauss-Newton on a thin band, weighted to the zone that is in focus in both frames
3. `quality`     how far the fit can be trusted: block-wise covariance and a calibrated confidence
4. `photometric` gain and fall-off ratio that bring the foreground frame into the background's light
5. `warp`        one resampling, in linear light, with its footprint
6. `local`       motion of single zones against the fit
"""

from dataclasses import dataclass

import numpy as np

from blendkit.alignment.quality import Evidence
from blendkit.alignment.tone import NO_CURVE, ToneCurve
from blendkit.frame import Float, Matrix


@dataclass(frozen=True, slots=True)
class Motion:
    """A shift d = (x_px, y_px) of a zone: its point x lies where the matrix takes x + d.

    uncertainty_px: bound of the length of the error that at least 95 % of the study's pairs keep.
    """

    x_px: float
    y_px: float
    uncertainty_px: float

    @property
    def length_px(self) -> float:
        """Length of the shift."""
        return float(np.hypot(self.x_px, self.y_px))


@dataclass(frozen=True, eq=False, slots=True)
class Alignment:
    """Where the foreground frame lies.

    matrix: 3x3, background px to foreground px.
    model: "translation", "similarity", "affine", "homography" or "given".
    residual_px: root mean square of the fit's residual motion over the zone in focus, px.
    uncertainty_px: bound of the RMS error over the frame, px, that about 94 % of held-out simulated
        pairs keep; fewer where the background is hardly blurred and moved.
    confidence: 0 to 1; of held-out simulated pairs above 0.9 about 97 % err by less than 1 px, none
        above 0.5 by more than 3 px (DEVELOPERS.md has the tables).
    score: masked correlation of the coarse search, -1 to 1.
    relative_disc_px: disc by which the sharper frame was blurred to fit; positive where the
        background frame is the softer one.
    support: share of the frame that carried the fit.
    weights: float32 (height, width) at `weights_factor`: where the evidence lies.
    evidence: what confidence and uncertainty were worked out from; None where the user vouches.
    behind: how the background moved beyond the matrix; None where it cannot be measured.
    sway_px, parallax_px: what the sitter moved by herself, and what the camera's own movement
        shifted the background against her; None where the two cannot be told apart.
    """

    matrix: Matrix
    model: str
    residual_px: float
    uncertainty_px: float
    confidence: float
    score: float
    relative_disc_px: float
    support: float
    weights: Float
    weights_factor: int
    evidence: Evidence | None = None
    behind: Motion | None = None
    sway_px: Motion | None = None
    parallax_px: Motion | None = None


@dataclass(frozen=True, eq=False, slots=True)
class Light:
    """How the foreground frame's light becomes the background frame's.

    gain_ev: per channel (r, g, b), EV to add to the foreground frame.
    falloff_ev: coefficients of r^2, r^4 and r^6, r = 1 at the frame's corner, EV.
    residual_ev: median absolute difference left on matched zones, EV.
    flare: light to take off the foreground frame first, relative to white, per channel.
    tone: "linear" or "curve": whether one gain fits all tones.
    curve: how both frames were rendered.
    local_range_ev: smooth difference over the picture that is neither gain nor fall-off.
    local_ev: its coefficients where it is followed; empty where it is left.
    notes: sentences about light that does not behave as in two exposures of one scene.
    """

    gain_ev: tuple[float, float, float]
    falloff_ev: tuple[float, float, float]
    residual_ev: float
    flare: tuple[float, float, float] = (0.0, 0.0, 0.0)
    tone: str = "linear"
    curve: ToneCurve = NO_CURVE
    local_range_ev: float = 0.0
    local_ev: tuple[float, ...] = ()
    notes: tuple[str, ...] = ()

    @property
    def falloff_ev_corner(self) -> float:
        """EV to add to the foreground frame at the corner, relative to the centre."""
        return float(np.sum(self.falloff_ev))
