"""Colours with hatches: what marks a region so that nobody has to tell colours apart.

Colours are those of Okabe & Ito (2008), "Color Universal Design", which people with any common
colour deficiency can tell apart; the hatch says the same again without colour.
"""

from dataclasses import dataclass
from typing import Literal

import numpy as np

from blendkit.frame import Bool, Source
from blendkit.midground import Severity

Hatch = Literal["rising", "falling", "crossed", "level", "upright", "grid", "dots", "none"]

ORANGE, SKY_BLUE, GREEN, YELLOW = (230, 159, 0), (86, 180, 233), (0, 158, 115), (240, 228, 66)
BLUE, VERMILLION, PURPLE, BLACK = (0, 114, 178), (213, 94, 0), (204, 121, 167), (0, 0, 0)


@dataclass(frozen=True, slots=True)
class Look:
    """How a region is marked: color is (red, green, blue), 0 to 255."""

    color: tuple[int, int, int]
    hatch: Hatch


FLAG_LOOKS: dict[Severity, Look] = {
    "note": Look(SKY_BLUE, "dots"),
    "warn": Look(ORANGE, "rising"),
    "fail": Look(VERMILLION, "crossed"),
}

SOURCE_LOOKS: dict[Source, Look] = {
    Source.FOREGROUND_FRAME: Look(BLUE, "rising"),
    Source.MATTE_EDGE: Look(YELLOW, "upright"),
    Source.PLATE_DIVIDED: Look(SKY_BLUE, "dots"),
    Source.PLATE_RERENDERED: Look(ORANGE, "falling"),
    Source.CLEAR_FRAME: Look(GREEN, "level"),
    Source.BRIDGE_FRAME: Look(PURPLE, "grid"),
    Source.REPAIRED: Look(VERMILLION, "crossed"),
}
"""The background frame itself stays unmarked."""

SOFTER_LOOKS = {"background": Look(ORANGE, "rising"), "foreground": Look(BLUE, "falling")}
"""Which frame is softer, in the blur map."""

CLIPPED_LOOKS = {"background": Look(VERMILLION, "rising"), "foreground": Look(BLUE, "falling")}

ZONE_LOOKS = (
    Look(SKY_BLUE, "rising"),
    Look(ORANGE, "falling"),
    Look(GREEN, "level"),
    Look(PURPLE, "upright"),
    Look(YELLOW, "dots"),
    Look(BLUE, "crossed"),
    Look(VERMILLION, "grid"),
)
"""Zones take these in turn."""


def hatch_lines(hatch: Hatch, size: tuple[int, int], period_px: int) -> Bool:
    """Return where the lines of a hatch stand, bool (height, width).

    size : (width, height), px; period_px : distance from line to line along rows and columns.

    Examples
    --------
    >>> hatch_lines("level", (2, 4), 2).astype(int).tolist()
    [[1, 1], [0, 0], [1, 1], [0, 0]]
    """
    y, x = np.indices((size[1], size[0]))
    wide = max(period_px // 5, 1)
    rising, falling = (x + y) % period_px < wide, (x - y) % period_px < wide
    level, upright = y % period_px < wide, x % period_px < wide
    patterns: dict[Hatch, Bool] = {
        "rising": rising,
        "falling": falling,
        "crossed": rising | falling,
        "level": level,
        "upright": upright,
        "grid": level | upright,
        "dots": (y % period_px < 2 * wide)
        & ((x + y // period_px * period_px // 2) % period_px < 2 * wide),
        "none": np.zeros_like(level),
    }
    return patterns[hatch]
