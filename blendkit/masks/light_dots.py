"""Small round spots that are much brighter than what surrounds them."""

from dataclasses import dataclass
from operator import attrgetter

import cv2
import numpy as np
from numpy.typing import NDArray

from blendkit.filters.bands import gaussian
from blendkit.filters.tiles import Window
from blendkit.frame import Bool, Float, luminance

_LEVELS = 8
_DARK = 0.2
_FAINTEST = 0.35
"""Light of a dot, of the brightest in the picture: leaves in the sun are no lamps."""
_LEAST_AREA_PX = 4
_LARGEST = 0.8
"""Radius of a dot, of the typical disc's."""
_LONGEST = 2.2
"""Long over short side of its box."""
_SURROUNDINGS = 0.6
"""Light around it, of the level that it stands over."""
_EVEN_PX = 0.8
"""Of a Gaussian before levels are cut: else grain breaks a dot whose light is near one of them."""
_GROWN_PX, _CLEAR_PX, _AROUND_PX = 3, 5, 11


@dataclass(frozen=True, eq=False, slots=True)
class Dot:
    """A bright spot of the sharp frame.

    centre: (x, y), px.  window, inside: its box and its pixels in it, bool.  energy: sum of its
    luminance over what surrounds it.  around: colour that surrounds it, (3,).  clipped: whether
    some of its light is lost.
    """

    centre: tuple[float, float]
    window: Window
    inside: Bool
    energy: float
    around: NDArray[np.float32]
    clipped: bool

    @property
    def radius_px(self) -> float:
        """Radius of a circle of its area."""
        return float(np.sqrt(self.inside.sum() / np.pi))

    @property
    def row(self) -> int:
        """Row of its centre."""
        return int(self.centre[1])

    @property
    def column(self) -> int:
        """Column of its centre."""
        return int(self.centre[0])


def find_dots(sharp: Float, disc_radius_px: float, full: Bool) -> list[Dot]:
    """Return the dots of a picture, those with most light first.

    sharp: float32 (height, width, 3), linear.  disc_radius_px: of the discs that the other frame
    makes of points.  full: bool (height, width), where the picture is clipped.
    """
    light = luminance(sharp)
    even = gaussian(light, _EVEN_PX)
    surroundings = _typical_around(light, disc_radius_px)
    brightest = max(float(np.percentile(light, 99.99)), _DARK)
    taken = np.zeros(light.shape, np.bool_)
    found = []
    # From the brightest down: a lamp before bright leaves is a dot of its own at a high level.
    for level in np.geomspace(0.9, _FAINTEST, _LEVELS) * brightest:
        for window, inside in _spots(even, float(level), disc_radius_px, surroundings):
            if not taken[window][inside].any():
                taken[window] |= inside
                found.append(_dot(sharp, light, window, inside, full))
    return sorted(found, key=attrgetter("energy"), reverse=True)


def _typical_around(light: Float, disc_radius_px: float) -> Float:
    """Return the median around each px, over two discs' widths."""
    # OpenCV has wide medians for bytes only; their roots are fine enough to compare by.  A darker
    # frame brought to the other's light holds more than 1.
    top = max(float(np.percentile(light, 99.9)), 1.0)
    roots = np.rint(255 * np.sqrt(np.clip(light / top, 0, 1))).astype(np.uint8)
    side = min(2 * int(1.8 * disc_radius_px) + 1, 99)
    return np.asarray(top * np.square(cv2.medianBlur(roots, max(side, 7)) / 255), np.float32)


def _spots(
    light: Float, level: float, disc_radius_px: float, surroundings: Float
) -> list[tuple[Window, Bool]]:
    """Return box and pixels of each small round spot over a level, grown by a pixel."""
    over = (light > level).astype(np.uint8)
    _, labels, boxes, centres = cv2.connectedComponentsWithStats(over, connectivity=8)
    x, y, width, height, area = boxes.T
    columns, rows = np.nan_to_num(centres).astype(int).T
    small = (area >= _LEAST_AREA_PX) & (area <= np.pi * (_LARGEST * disc_radius_px) ** 2)
    rounded = np.maximum(width, height) <= _LONGEST * np.minimum(width, height) + 2
    alone = surroundings[rows, columns] <= _SURROUNDINGS * level
    spots = []
    for label in np.flatnonzero(small & rounded & alone):
        if label == 0:
            continue
        window = (
            slice(max(y[label] - 2, 0), y[label] + height[label] + 2),
            slice(max(x[label] - 2, 0), x[label] + width[label] + 2),
        )
        inside = (labels[window] == label).astype(np.uint8)
        grown = cv2.dilate(inside, np.ones((_GROWN_PX, _GROWN_PX), np.uint8)) > 0
        spots.append((window, np.asarray(grown, np.bool_)))
    return spots


def _dot(sharp: Float, light: Float, window: Window, inside: Bool, full: Bool) -> Dot:
    """Describe a spot; its window is widened so that its surroundings fit in."""
    margin = _AROUND_PX // 2 + 1
    rows, columns = (
        slice(max(int(p.start) - margin, 0), min(int(p.start) + n + margin, size))
        for p, n, size in zip(window, inside.shape, light.shape, strict=True)
    )
    own = np.zeros((rows.stop - rows.start, columns.stop - columns.start), np.uint8)
    top, left = int(window[0].start) - rows.start, int(window[1].start) - columns.start
    own[top : top + inside.shape[0], left : left + inside.shape[1]] = inside
    clear, wide = (
        cv2.dilate(own, np.ones((side, side), np.uint8)) > 0 for side in (_CLEAR_PX, _AROUND_PX)
    )
    ring = wide & ~clear
    around = np.median(sharp[rows, columns][ring], axis=0) if ring.any() else np.zeros(3)
    down, across = np.nonzero(own)
    over = light[rows, columns] - float(luminance(around[None, None].astype(np.float32))[0, 0])
    return Dot(
        centre=(float(across.mean()) + columns.start, float(down.mean()) + rows.start),
        window=(rows, columns),
        inside=np.asarray(clear, np.bool_),
        energy=float(np.maximum(over[own > 0], 0).sum()),
        around=around.astype(np.float32),
        clipped=bool(full[rows, columns][own > 0].any()),
    )
