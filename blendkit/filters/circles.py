"""Round places of a picture: the window around one, where each pixel lies in it, and kernels."""

import cv2
import numpy as np
from numpy.typing import NDArray

from blendkit.filters.tiles import Window
from blendkit.frame import Float

Place = tuple[float, float]
"""x and y, px."""


def window_around(place: Place, reach_px: float, shape: tuple[int, ...]) -> Window:
    """Return the window of a picture that reaches so far from a place on all sides.

    >>> window_around((5.0, 2.0), 2.0, (4, 20))
    (slice(0, 4, None), slice(3, 9, None))
    """
    rows, columns = (
        slice(max(int(at - reach_px), 0), min(int(at + reach_px) + 2, size))
        for at, size in zip(place[::-1], shape[:2], strict=True)
    )
    return rows, columns


def distance_px(window: Window, place: Place) -> Float:
    """Return how far each px of a window lies from a place, float32 (height, width)."""
    return np.asarray(np.hypot(*_offsets(window, place)), np.float32)


def sector(window: Window, place: Place, count: int) -> NDArray[np.intp]:
    """Return in which of `count` equal sectors around a place each px lies, (height, width)."""
    across, down = _offsets(window, place)
    turn = (np.arctan2(down, across) + np.pi) / (2 * np.pi)
    return np.asarray(turn * count, np.intp) % count


def _offsets(window: Window, place: Place) -> tuple[Float, Float]:
    rows, columns = (np.arange(p.start, p.stop, dtype=np.float32) for p in window)
    return columns[None, :] - np.float32(place[0]), rows[:, None] - np.float32(place[1])


def round_kernel(reach_px: int) -> NDArray[np.uint8]:
    """Return a round kernel for dilation and its kin, uint8, that reaches so far, px.

    >>> round_kernel(2).shape
    (5, 5)
    """
    side = 2 * reach_px + 1
    return np.asarray(cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (side, side)), np.uint8)
