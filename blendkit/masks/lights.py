"""Bright points behind: a lamp, a glint, or a gap of sky that the soft frame spreads over a disc.

In the sharp frame such a point is a dot, often clipped, with dark ground around it; in the soft
frame a bright disc lies there.  Frames that differ so look to the matte like dark foreground, and a
plate re-rendered from the clipped dot is too dark.  So the points are taken out of both frames
before the matte is sought, and given back the light that their discs show before the ground behind
is re-rendered.  `light_search` finds them.
"""

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from blendkit.filters.circles import distance_px, window_around
from blendkit.filters.patches import Patch
from blendkit.filters.resample import coordinate_at_scale
from blendkit.filters.tiles import Window
from blendkit.frame import Bool, Float
from blendkit.masks.light_dots import Dot

BEYOND = 1.18
"""Radius of what is taken out, of the disc's: its rim is soft, and no disc is quite round."""


@dataclass(frozen=True, slots=True)
class PointLight:
    """A bright point, in px of the reduced picture.

    dot: where the sharp frame shows it.  centre, radius_px: (x, y) and radius of its disc in the
    soft frame.  light: per channel, that the disc adds to each of its pixels.
    """

    dot: Dot
    centre: tuple[float, float]
    radius_px: float
    light: NDArray[np.float32]


@dataclass(frozen=True, eq=False, slots=True)
class Lights:
    """The bright points of a pair, found at a size reduced by `factor`.

    ground: the soft frame without them, float32, reduced; valid in their discs.
    """

    points: tuple[PointLight, ...]
    ground: Float
    factor: int

    def discs(self, shape: tuple[int, ...]) -> Bool:
        """Return where their discs lie, bool (height, width) of the full picture."""
        region = np.zeros(shape[:2], np.bool_)
        for point in self.points:
            window, inside = self._disc(point, shape)
            region[window] |= inside
        return region

    def discs_out(self, background: Float) -> Float:
        """Return the soft frame without the discs; the frame itself if there are none.

        background: float32 (height, width, 3), the full picture.
        """
        if not self.points:
            return background
        soft = background.copy()
        for point in self.points:
            window, inside = self._disc(point, background.shape)
            soft[window][inside] = self._ground_in(window)[inside]
        return soft

    @contextmanager
    def dots_out(self, aligned: Float) -> Iterator[None]:
        """Take the dots out of the sharp frame, in place, and put them back at the end.

        aligned: float32 (height, width, 3), the full picture.  The frame given by the user is not
        touched: this is the one that was laid on the background frame's grid.
        """
        held = []
        try:
            for point in self.points:
                window, inside = self._dot(point, aligned.shape)
                held.append((window, aligned[window].copy()))
                aligned[window][inside] = point.dot.around
            yield
        finally:
            for window, light in reversed(held):  # dots may share pixels
                aligned[window] = light

    def missing(self, aligned: Float) -> tuple[Patch, ...]:
        """Return the light that each dot of the sharp frame lacks, by what its disc shows.

        aligned: float32 (height, width, 3), the full picture.
        """
        return tuple(self._missing(point, aligned) for point in self.points)

    def _missing(self, point: PointLight, aligned: Float) -> Patch:
        window, inside = self._dot(point, aligned.shape)
        own = aligned[window][inside]
        needed = point.light * (np.pi * (point.radius_px * self.factor) ** 2)
        held = np.maximum(own - point.dot.around, 0).sum(axis=0)
        light = np.zeros((*inside.shape, 3), np.float32)
        light[inside] = np.maximum(needed - held, 0) / max(len(own), 1)
        return Patch(window, light)

    def _disc(self, point: PointLight, shape: tuple[int, ...]) -> tuple[Window, Bool]:
        """Return the window around a disc in the full picture, and its disc within it."""
        x, y = (coordinate_at_scale(at, self.factor) for at in point.centre)
        place = x, y
        reach = BEYOND * point.radius_px * self.factor + 1
        window = window_around(place, reach + 1, shape)
        return window, np.asarray(distance_px(window, place) < reach, np.bool_)

    def _dot(self, point: PointLight, shape: tuple[int, ...]) -> tuple[Window, Bool]:
        """Return the window of a dot in the full picture, and its pixels within it."""
        rows, columns = point.dot.window
        factor = self.factor
        window = (
            slice(rows.start * factor, min(rows.stop * factor, shape[0])),
            slice(columns.start * factor, min(columns.stop * factor, shape[1])),
        )
        inside = np.repeat(np.repeat(point.dot.inside, factor, axis=0), factor, axis=1)
        size = tuple(part.stop - part.start for part in window)
        return window, inside[: size[0], : size[1]]

    def _ground_in(self, window: Window) -> Float:
        """Return the ground in a window of the full picture."""
        rows, columns = (np.arange(p.start, p.stop, dtype=np.float32) for p in window)
        x, y = (coordinate_at_scale(at, 1 / self.factor) for at in (columns, rows))
        places = np.meshgrid(x, y)
        read = cv2.remap(self.ground, *places, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
        return np.asarray(read, np.float32)
