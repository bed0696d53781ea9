"""Reducing and enlarging by whole factors, with pixel centres kept in register.

Cell (i, j) of a picture reduced by n is the mean of rows n*i to n*i+n-1 and the same columns, so
its centre lies at (n*j + (n-1)/2, n*i + (n-1)/2) in px of the full picture.
"""

from collections.abc import Callable
from typing import TypeVar

import cv2
import numpy as np
from numpy.typing import NDArray

from blendkit.filters.threads import each_part
from blendkit.filters.tiles import Window, tile_side, tiles
from blendkit.frame import Bool, Float, Matrix

_TILE = 512


def reduce_by(values: Float, factor: int) -> Float:
    """Return the means of factor x factor cells; the last cells repeat the rim where needed.

    values: float32 (height, width) or (height, width, channels); result: ceil(size / factor).

    Examples
    --------
    >>> reduce_by(np.array([[0, 2, 4, 4]], np.float32).repeat(2, 0), 2)
    array([[1., 4.]], dtype=float32)
    """
    if factor <= 1:
        return values
    height, width = values.shape[:2]
    rows, columns = height // factor * factor, width // factor * factor
    result = np.empty((-(-height // factor), -(-width // factor), *values.shape[2:]), np.float32)
    # Only the last, incomplete cells are padded: copying the whole picture would cost as much.
    for part in (
        (slice(0, rows), slice(0, columns)),
        (slice(0, rows), slice(columns, width)),
        (slice(rows, height), slice(0, width)),
    ):
        cells = _cells(values[part], factor)
        if cells.size:
            top, left = part[0].start // factor, part[1].start // factor
            result[top : top + cells.shape[0], left : left + cells.shape[1]] = cells
    return result


def share_in_cells(mask: Bool, factor: int) -> Float:
    """Return `reduce_by` of a mask: which share of each cell is set, float32.

    As numbers a mask takes four times its memory, so only some rows are ever turned into them.

    Examples
    --------
    >>> share_in_cells(np.array([[True, False, True], [True, True, False]]), 2)
    array([[0.75, 0.5 ]], dtype=float32)
    """
    rows = tile_side(_TILE, factor)
    strips = (mask[top : top + rows].astype(np.float32) for top in range(0, len(mask), rows))
    return np.concatenate([reduce_by(strip, factor) for strip in strips])


def _cells(values: Float, factor: int) -> Float:
    """Return the means of cells; incomplete ones repeat the rim."""
    height, width = values.shape[:2]
    if not height or not width:
        return values
    bottom, right = -height % factor, -width % factor
    if bottom or right:
        padded = cv2.copyMakeBorder(values, 0, bottom, 0, right, cv2.BORDER_REPLICATE)
        values = np.asarray(padded, np.float32)
    size = (values.shape[1] // factor, values.shape[0] // factor)
    return np.asarray(cv2.resize(values, size, interpolation=cv2.INTER_AREA), np.float32)


def put_reduced(small: Float, part: Float, at: tuple[slice, slice], factor: int) -> None:
    """Reduce a part of a picture and put it into the reduced picture.

    small: float32, changed.  at: rows and columns of the part in the full picture, beginning on
    whole cells.
    """
    cells = reduce_by(part, factor)
    top, left = at[0].start // factor, at[1].start // factor
    small[top : top + cells.shape[0], left : left + cells.shape[1]] = cells


def reduce_parts(
    at: Callable[[Window], Float], shape: tuple[int, ...], factor: int, *, channels: int = 3
) -> Float:
    """Return `reduce_by` of a picture that is only given part by part.

    at: gives rows and columns of the full picture, float32 (height, width, channels).

    Examples
    --------
    >>> full = np.random.default_rng(1).random((900, 1300, 3), np.float32)
    >>> parts = reduce_parts(full.__getitem__, full.shape, 7)
    >>> bool(np.allclose(parts, reduce_by(full, 7), atol=1e-6))
    True
    """
    small = np.zeros((-(-shape[0] // factor), -(-shape[1] // factor), channels), np.float32)

    def put(part: tuple[Window, Window]) -> None:
        put_reduced(small, at(part[0]), part[0], factor)

    each_part(put, tiles(shape, tile_side(_TILE, factor), 0))
    return small


def working_factor(extent_px: float, working_px: float, short_side_px: int) -> int:
    """Return the reduction that leaves a wide kernel of this extent at least working_px wide.

    No more than leaves the picture's short side 4 px.

    >>> working_factor(120.0, 24.0, 2000), working_factor(47.0, 24.0, 2000)
    (5, 1)
    >>> working_factor(120.0, 24.0, 16)
    4
    """
    return max(min(int(extent_px // working_px), short_side_px // 4), 1)


def enlarge(values: Float, factor: int, size: tuple[int, int]) -> Float:
    """Undo `reduce_by` in size: interpolate between cell centres and crop to size (width, height).

    values: float32 (height, width[, channels]); result: size in px.
    """
    if factor <= 1:
        return values
    full = (values.shape[1] * factor, values.shape[0] * factor)
    # OpenCV's cubic (a = -0.75) does not reproduce a ramp; linear does.
    out = cv2.resize(values, full, interpolation=cv2.INTER_LINEAR)
    return np.asarray(out[: size[1], : size[0]], np.float32)


def enlarge_mask(mask: Bool, factor: int, size: tuple[int, int], *, smooth: bool = False) -> Bool:
    """Return a mask of cells at full size (width, height): each px as its cell is.

    smooth: the rim runs half-way between cells as `enlarge` would have it, not along them.

    Examples
    --------
    >>> enlarge_mask(np.array([[True, False]]), 3, (5, 1))
    array([[ True,  True,  True, False, False]])
    """
    method = cv2.INTER_LINEAR if smooth else cv2.INTER_NEAREST
    full = (mask.shape[1] * factor, mask.shape[0] * factor)
    out = cv2.resize(np.where(mask, np.uint8(255), np.uint8(0)), full, interpolation=method)
    return np.asarray(out[: size[1], : size[0]] > 127, np.bool_)


def enlarged_part(values: Float, factor: int, part: tuple[slice, slice]) -> Float:
    """Return a part of what `enlarge` gives, without enlarging the rest.

    part: rows and columns of the full picture.

    Examples
    --------
    >>> cells = np.arange(24, dtype=np.float32).reshape(4, 6)
    >>> part = (slice(5, 9), slice(7, 18))
    >>> bool(np.array_equal(enlarged_part(cells, 3, part), enlarge(cells, 3, (18, 12))[part]))
    True
    """
    if factor <= 1:
        return values[part]
    # One cell more on each side, so that interpolation finds its neighbours.
    rows, columns = (
        slice(max(p.start // factor - 1, 0), min(-(-p.stop // factor) + 1, n))
        for p, n in zip(part, values.shape[:2], strict=True)
    )
    cells = values[rows, columns]
    full = enlarge(cells, factor, (cells.shape[1] * factor, cells.shape[0] * factor))
    top, left = rows.start * factor, columns.start * factor
    return full[
        part[0].start - top : part[0].stop - top, part[1].start - left : part[1].stop - left
    ]


def any_in_cells(mask: Bool, factor: int) -> Bool:
    """Return cells of factor x factor px in which anything is set; the last ones may be smaller."""
    rows, columns = (-side % factor for side in mask.shape)
    padded = np.pad(mask, ((0, rows), (0, columns)))
    height, width = (side // factor for side in padded.shape)
    return np.asarray(padded.reshape(height, factor, width, factor).any(axis=(1, 3)), np.bool_)


Coordinate = TypeVar("Coordinate", float, NDArray[np.float32], NDArray[np.float64])


def coordinate_at_scale(value: Coordinate, scale: float) -> Coordinate:
    """Return a coordinate, px, in a picture scaled so; whole numbers are pixel centres in both.

    >>> coordinate_at_scale(0.5, 0.5), coordinate_at_scale(3.0, 2.0)
    (0.0, 6.5)
    """
    return (value + 0.5) * scale - 0.5


def matrix_at_reduced_scale(matrix: Matrix, factor: float) -> Matrix:
    """Express a transform between full frames in px of both frames reduced by a factor.

    Examples
    --------
    >>> shift = np.array([[1, 0, 8], [0, 1, -4], [0, 0, 1]], float)
    >>> matrix_at_reduced_scale(shift, 4)[:2, 2]
    array([ 2., -1.])
    """
    offset = (factor - 1) / 2
    to_full = np.array([[factor, 0, offset], [0, factor, offset], [0, 0, 1]], np.float64)
    return np.asarray(np.linalg.inv(to_full) @ matrix @ to_full)
