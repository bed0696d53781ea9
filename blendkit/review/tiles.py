"""Cuts tiles out of pyramids, on the background frame's grid whatever picture it is."""

from dataclasses import dataclass
from functools import lru_cache

import cv2
import numpy as np

from blendkit.filters.resample import matrix_at_reduced_scale
from blendkit.frame import Label, Matrix
from blendkit.review.pyramid import Box, Pyramid, Size, count_levels, level_size

TILE_PX = 512
OVERLAP_PX = 1
_QUALITY = 92
_OUTSIDE = (119, 119, 119)  # the page's own grey, L* = 50


@dataclass(frozen=True, eq=False, slots=True)
class Placed:
    """A pyramid laid on the background frame's grid.

    size: (width, height) of that grid, px.
    matrix: background px to px of the pyramid; None where they are the same.
    """

    pyramid: Pyramid
    size: Size
    matrix: Matrix | None = None

    def tile(self, level: int, column: int, row: int) -> Label | None:
        """Return a tile, uint8 (rows, columns, 3); None if there is no such tile.

        level counts halvings, 0 = full size.
        """
        box = tile_box(self.size, level, column, row)
        if box is None:
            return None
        if self.matrix is None:
            return self.pyramid.window(level, box)
        return self._warped(self.matrix, level, box)

    def _warped(self, full: Matrix, level: int, box: Box) -> Label:
        stored = min(level, self.pyramid.levels - 1)
        matrix = matrix_at_reduced_scale(full, 2**level)
        if stored != level:
            scale = 2.0 ** (level - stored)
            matrix = np.diag([scale, scale, 1.0]) @ matrix
        left, top, right, bottom = box
        moved = matrix @ np.array([[1.0, 0, left], [0, 1.0, top], [0, 0, 1.0]])
        window = _needed(moved, (right - left, bottom - top), self.pyramid, stored)
        if window is None:
            return np.full((bottom - top, right - left, 3), _OUTSIDE, np.uint8)
        source = self.pyramid.window(stored, window)
        moved = np.array([[1.0, 0, -window[0]], [0, 1.0, -window[1]], [0, 0, 1.0]]) @ moved
        warped = cv2.warpPerspective(
            source,
            moved,
            (right - left, bottom - top),
            flags=cv2.INTER_CUBIC | cv2.WARP_INVERSE_MAP,
            borderMode=cv2.BORDER_CONSTANT,
            borderValue=_OUTSIDE,
        )
        return np.asarray(warped, np.uint8)


def tile_box(size: Size, level: int, column: int, row: int) -> Box | None:
    """Return the window of a tile with its overlap; None outside the picture.

    >>> tile_box((1500, 1000), 0, 2, 1)
    (1023, 511, 1500, 1000)
    """
    if not 0 <= level < count_levels(size):
        return None
    width, height = level_size(size, level)
    left, top = column * TILE_PX, row * TILE_PX
    if not (0 <= left < width and 0 <= top < height):
        return None
    return (
        max(left - OVERLAP_PX, 0),
        max(top - OVERLAP_PX, 0),
        min(left + TILE_PX + OVERLAP_PX, width),
        min(top + TILE_PX + OVERLAP_PX, height),
    )


def _needed(matrix: Matrix, size: Size, pyramid: Pyramid, level: int) -> Box | None:
    """Return the window of the pyramid that a warped tile draws on; None if it misses it."""
    width, height = level_size(pyramid.size, level)
    corners = np.array([(x, y, 1.0) for x in (-1, size[0]) for y in (-1, size[1])]) @ matrix.T
    places = corners[:, :2] / corners[:, 2:]
    low, high = np.floor(places.min(axis=0)) - 2, np.ceil(places.max(axis=0)) + 3
    left, top = max(int(low[0]), 0), max(int(low[1]), 0)
    right, bottom = min(int(high[0]), width), min(int(high[1]), height)
    return (left, top, right, bottom) if left < right and top < bottom else None


@lru_cache(maxsize=1)
def _jpeg() -> object:
    import imagecodecs  # noqa: PLC0415 - loaded with the first tile

    return imagecodecs.jpeg8_encode


def as_jpeg(pixels: Label) -> bytes:
    """Return sRGB pixels as a JPEG without colour subsampling, so that fine edges keep theirs."""
    encode = _jpeg()
    return bytes(encode(np.ascontiguousarray(pixels), level=_QUALITY, subsampling="444"))  # type: ignore[operator]
