"""What looks wrong in a result, where, how loud, and what to do about it.

`edge_discs` measures blur at a frame's own edges, `lens_pair` ties both frames' discs together by
the thin lens, `result_blur` maps the blur of the result, `surfaces` finds ground and walls along
which distance runs one way, `soft_ground` flags what is soft there for no optical reason, `focus`
looks at the sitter, `checks`, `frame_checks` and `veil_left` raise the other flags, `tapering` and
`sharpening` hold the rules of repair, `repaired_ground` what a repair left.
"""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Literal

import numpy as np

from blendkit.frame import Bool, Float

Severity = Literal["note", "warn", "fail"]
LOUDNESS: dict[Severity, int] = {"note": 0, "warn": 1, "fail": 2}
Sigma = Callable[[Float], Float]
"""Standard deviation of the noise at pixel values (..., 3)."""
Evidence = Literal["recorded", "measured", "unknown"]


@dataclass(frozen=True, eq=False, slots=True)
class Flag:
    """A finding.

    kind: its name, such as "soft-foreground".
    region: bool (height, width), where.
    message: what is wrong, in a sentence with numbers.
    advice: what to do, in a sentence.
    """

    kind: str
    severity: Severity
    region: Bool
    message: str
    advice: str


@dataclass(frozen=True, slots=True)
class LensPair:
    """How the two frames' discs hang together: foreground disc = ratio * x - gap_px.

    x is the signed disc in the background frame, positive in front of its focus.

    ratio: of the apertures' widths, foreground frame over background frame.
    gap_px: disc in the foreground frame of what the background frame is focused on, px; 0 if both
        are focused at one distance.
    evidence: where the gap comes from; "unknown" means that only relative blur is known.
    """

    ratio: float
    gap_px: float
    evidence: Evidence


@dataclass(frozen=True, eq=False, slots=True)
class ResultBlur:
    """Blur over the picture at 1/factor of full size, in full px.

    disc_px: of the result, float32 (height, width).
    background_px, foreground_px: signed, of each frame there; background_px also gives the order
        in depth: larger is nearer.
    confidence: 0 (unknown, taken from the surroundings) to 1.
    repaired: bool, where disc_px is what a repair left; None = nowhere.
    """

    disc_px: Float
    background_px: Float
    foreground_px: Float
    confidence: Float
    factor: int
    lens: LensPair
    repaired: Bool | None = None


@dataclass(frozen=True, eq=False, slots=True)
class Surface:
    """Ground, a road, a wall: a region on which the disc is linear over the picture, as on a plane.

    region: bool (height, width) of the blur map.
    plane: (offset, along x, along y): signed background disc in px by px of the map.
    seen: the part of the region where blur was measured; on the rest the order is its neighbours'.
    """

    region: Bool
    plane: tuple[float, float, float]
    seen: Bool

    def discs_px(self) -> Float:
        """Return the plane's signed background disc over the whole map, float32 (height, width)."""
        y, x = np.indices(self.region.shape, dtype=np.float32)
        offset, along_x, along_y = self.plane
        return np.asarray(offset + along_x * x + along_y * y, np.float32)
