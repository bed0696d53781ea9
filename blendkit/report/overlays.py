"""Everything that is laid over a picture, for command line, batch and page alike.

Each function takes a screen picture (uint8 (height, width, 3), sRGB) and arrays of any size that
show the same view, and returns a new picture of the screen picture's size.  A region is tinted,
hatched and outlined: its hatch says the same as its colour.
"""

from collections.abc import Mapping

import cv2
import numpy as np
from numpy.typing import NDArray

from blendkit.frame import Bool, Float, Label, Source
from blendkit.midground import LOUDNESS, Severity
from blendkit.report.captions import number_tag
from blendkit.report.looks import (
    CLIPPED_LOOKS,
    FLAG_LOOKS,
    SOFTER_LOOKS,
    SOURCE_LOOKS,
    ZONE_LOOKS,
    Look,
    hatch_lines,
)
from blendkit.report.screen import Picture

BLUR_STEPS_PX = (1.0, 2.0, 4.0, 8.0, 16.0, 32.0, 64.0)
"""Disc diameters at which the blur map's hatch gets denser."""

_TINT, _LINE, _SHADE = 0.3, 0.85, 0.3


def mark(
    picture: Picture,
    region: Bool,
    look: Look,
    *,
    opacity: float = 1.0,
    period_px: int | None = None,
    outline: bool = True,
) -> Picture:
    """Return a picture with one region tinted, hatched and outlined.

    Parameters
    ----------
    picture : uint8 (height, width, 3).
    region : bool of any size; a screen pixel belongs to it if any part of it does.
    look : colour and hatch.
    opacity : 0 = invisible to 1.
    period_px : of the hatch; None fits it to the picture.
    outline : draw a line around it.
    """
    size = (picture.shape[1], picture.shape[0])
    here = fitted(region, size)
    period = period_px or max(round(max(size) / 110), 6)
    lines = hatch_lines(look.hatch, size, period)
    if outline:
        lines = lines | _rim(here, max(round(max(size) / 800), 1))
    share = np.where(lines, _LINE, _TINT) * here * opacity
    tint = np.array(look.color, np.float32)
    base = np.asarray(picture, np.float32)
    mixed = np.asarray(base + share[..., None] * (tint - base), np.float32)
    shade = _beside(lines, period) & here
    mixed[shade] *= 1 - _SHADE * opacity
    return np.asarray(np.rint(mixed), np.uint8)


def fitted(region: Bool, size: tuple[int, int]) -> Bool:
    """Return a region at another size (width, height), its smallest parts kept."""
    if region.shape == (size[1], size[0]):
        return region
    grown = max(region.shape) < max(size)
    method = cv2.INTER_NEAREST if grown else cv2.INTER_AREA
    scaled = cv2.resize(region.astype(np.float32), size, interpolation=method)
    return np.asarray(scaled > 0, np.bool_)


def _beside(lines: Bool, period_px: int) -> Bool:
    """Return a shadow beside each line: a line as light as the picture would not show without."""
    wide = max(period_px // 5, 1)
    return np.asarray(np.roll(lines, (wide, 2 * wide), axis=(0, 1)) & ~lines, np.bool_)


def _rim(region: Bool, width_px: int) -> Bool:
    kernel = np.ones((2 * width_px + 1,) * 2, np.uint8)
    inner = cv2.erode(region.astype(np.uint8), kernel, borderValue=0)
    return np.asarray(region & (inner == 0), np.bool_)


def flags_picture(
    picture: Picture,
    labels: Label,
    severities: Mapping[int, Severity],
    *,
    opacity: float = 1.0,
) -> Picture:
    """Return a picture with its flags, each with its number in its largest part.

    labels : uint8, the ids of the flags; severities : severity by id.
    """
    present = [number for number in severities if (labels == number).any()]
    for number in sorted(present, key=lambda item: LOUDNESS[severities[item]]):
        picture = mark(picture, labels == number, FLAG_LOOKS[severities[number]], opacity=opacity)
    for number in present:
        picture = _tagged(picture, labels == number, str(number))
    return picture


def sources_picture(picture: Picture, sources: Label, *, opacity: float = 1.0) -> Picture:
    """Return a picture with its source map; the background frame stays unmarked."""
    for source, look in SOURCE_LOOKS.items():
        region = sources == source
        if region.any():
            picture = mark(
                picture, region, look, opacity=opacity, outline=source != Source.MATTE_EDGE
            )
    return picture


def zones_picture(picture: Picture, zones: NDArray[np.integer], *, opacity: float = 1.0) -> Picture:
    """Return a picture with its zones, numbered; 0 = no zone."""
    numbers = [int(number) for number in np.unique(zones) if number]
    for place, number in enumerate(numbers):
        look = ZONE_LOOKS[place % len(ZONE_LOOKS)]
        picture = mark(picture, zones == number, look, opacity=opacity)
    for number in numbers:
        picture = _tagged(picture, zones == number, str(number))
    return picture


def blur_picture(
    picture: Picture, disc_px: Float, confidence: Float | None = None, *, opacity: float = 1.0
) -> Picture:
    """Return a picture with its relative blur: the hatch leans to who is softer, denser for more.

    disc_px : positive where the background frame is the softer one, negative where the foreground
        frame is.
    confidence : 0 to 1; below 0.1 nothing is drawn.
    """
    known = np.ones(disc_px.shape, np.bool_) if confidence is None else confidence >= 0.1
    for sign, who in ((1, "background"), (-1, "foreground")):
        amount = sign * disc_px
        for step, least in enumerate(BLUR_STEPS_PX):
            most = BLUR_STEPS_PX[step + 1] if step + 1 < len(BLUR_STEPS_PX) else np.inf
            region = known & (amount >= least) & (amount < most)
            if region.any():
                picture = mark(
                    picture,
                    region,
                    SOFTER_LOOKS[who],
                    opacity=opacity * (0.4 + 0.6 * step / (len(BLUR_STEPS_PX) - 1)),
                    period_px=_period(picture, step),
                    outline=False,
                )
    return picture


def _period(picture: Picture, step: int) -> int:
    """Return a hatch's period, px: the more blur, the denser."""
    return max(int(max(picture.shape[:2]) / 40 * 0.72**step), 4)


def clipped_picture(
    picture: Picture, background: Bool, foreground: Bool, *, opacity: float = 1.0
) -> Picture:
    """Return a picture with what is clipped in either frame, on the background frame's grid."""
    for who, region in (("background", background), ("foreground", foreground)):
        if region.any():
            picture = mark(picture, region, CLIPPED_LOOKS[who], opacity=opacity)
    return picture


def _tagged(picture: Picture, region: Bool, text: str) -> Picture:
    """Write a number where a region is widest."""
    size = (picture.shape[1], picture.shape[0])
    framed = np.pad(fitted(region, size).astype(np.uint8), 1)
    depth = cv2.distanceTransform(framed, cv2.DIST_L2, 3)[1:-1, 1:-1]
    row, column = np.unravel_index(int(np.argmax(depth)), depth.shape)
    return number_tag(picture, text, (int(column), int(row)))
