"""Boxes that hold the zone in focus, so that the finest fits work on no more than it."""

import numpy as np

from blendkit.alignment import models
from blendkit.frame import Float, Matrix

Sides = tuple[int, int, int, int]
"""Left, top, right, bottom; px, right and bottom exclusive."""

_MARGIN_PX = 40
_WORTH_CROPPING = 0.75
_CARRIES = 0.1


def whole_box(shape: tuple[int, ...]) -> Sides:
    """Return the box of a whole array of that shape (height, width)."""
    return 0, 0, shape[1], shape[0]


def zone_box(weights: Float, enlarge: float, shape: tuple[int, ...]) -> Sides | None:
    """Return the box of the evidence on a finer array of that shape; None where it gains little.

    weights: evidence map; enlarge: px of the finer array in one px of the map.

    Examples
    --------
    >>> weights = np.zeros((100, 100), np.float32)
    >>> weights[40:50, 20:30] = 1
    >>> zone_box(weights, 2, (200, 200))
    (0, 40, 100, 140)
    """
    rows, columns = (np.flatnonzero((weights > _CARRIES).any(axis=k)) for k in (1, 0))
    if not len(rows):
        return None
    low_high = np.array([columns[0], rows[0], columns[-1] + 1, rows[-1] + 1]) * enlarge
    box = _grown(low_high, shape)
    area = (box[2] - box[0]) * (box[3] - box[1])
    return box if area < _WORTH_CROPPING * shape[0] * shape[1] else None


def mapped_box(box: Sides, matrix: Matrix, shape: tuple[int, ...]) -> Sides:
    """Return the box, on an array of that shape, that holds a box mapped by a transform."""
    corners = np.array([[x, y] for x in (box[0], box[2]) for y in (box[1], box[3])], np.float64)
    moved = models.apply(matrix, corners)
    grown = _grown(np.concatenate([moved.min(axis=0), moved.max(axis=0)]), shape)
    empty = grown[2] - grown[0] < 2 * _MARGIN_PX or grown[3] - grown[1] < 2 * _MARGIN_PX
    return whole_box(shape) if empty else grown


def cut(values: Float, box: Sides) -> Float:
    """Return the part of an array inside a box, as its own memory."""
    return np.ascontiguousarray(values[box[1] : box[3], box[0] : box[2]])


def _grown(sides: np.ndarray, shape: tuple[int, ...]) -> Sides:
    left, top = (max(int(side) - _MARGIN_PX, 0) for side in sides[:2])
    right = min(int(np.ceil(sides[2])) + _MARGIN_PX, shape[1])
    bottom = min(int(np.ceil(sides[3])) + _MARGIN_PX, shape[0])
    return left, top, right, bottom
