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
from blendkit.frame import Float, Matrix


@dataclass(frozen=True, eq=False, slots=True)
class Alignment:
    """Where the foreground frame lies.

    matrix: 3x3, background px to foreground px.
    model: "translation", "similarity", "affine", "homography" or "given".
    residual_px: root mean square of the fit's residual motion over the zone in focus, px.
    uncertainty_px: 95 % bound of the RMS error over the frame, px.
    confidence: 0 to 1; at 0.9 the error is under 1 px in 99 of 100 cases of the study.
    score: masked correlation of the coarse search, -1 to 1.
    relative_disc_px: disc by which the sharper frame was blurred to fit; positive where the
        background frame is the softer one.
    support: share of the frame that carried the fit.
    weights: float32 (height, width) at `weights_factor`: where the evidence lies.
    evidence: what confidence and uncertainty were worked out from; None where the user vouches.
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


@dataclass(frozen=True, eq=False, slots=True)
class Light:
    """How the foreground frame's light becomes the background frame's.

    gain_ev: per channel (r, g, b), EV to add to the foreground frame.
    falloff_ev: coefficients of r^2, r^4 and r^6, r = 1 at the frame's corner, EV.
    residual_ev: median absolute difference left on matched zones, EV.
    flare: additive light of the foreground frame relative to white, per channel.
    tone: "linear" or "curve": whether one gain fits all tones.
    curve: knots (log2 of foreground light, EV to add) of the fitted tone curve; empty if linear.
    """

    gain_ev: tuple[float, float, float]
    falloff_ev: tuple[float, float, float]
    residual_ev: float
    flare: tuple[float, float, float] = (0.0, 0.0, 0.0)
    tone: str = "linear"
    curve: tuple[tuple[float, float], ...] = ()

    @property
    def falloff_ev_corner(self) -> float:
        """EV to add to the foreground frame at the corner, relative to the centre."""
        return float(np.sum(self.falloff_ev))
