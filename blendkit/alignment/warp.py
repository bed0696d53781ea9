"""The one resampling of the foreground frame, in linear light, with its footprint."""

import cv2
import numpy as np

from blendkit.frame import Float, Matrix, Warped

_REACH_PX = 4
"""The Lanczos kernel reads four px to each side; all of them must be real."""


def warp_to_background(pixels: Float, matrix: Matrix, size: tuple[int, int]) -> Warped:
    """Bring a frame onto the background grid.

    Parameters
    ----------
    pixels : ndarray
        float32 (height, width, channels) or (height, width), linear light.
    matrix : Matrix
        3x3, background px to px of this frame.
    size : (int, int)
        Width and height of the background grid, px.

    Returns
    -------
    Warped
        Lanczos interpolation, never below 0; footprint True where all 8x8 source pixels are real,
        told by the nearest one: a row or column at the rim may lean on its repeated edge.
        OpenCV's cubic (a = -0.75) was 10 dB worse on a shifted picture (tests/alignment).
        A transform that is exactly the identity gives the pixels themselves.
    """
    if np.array_equal(matrix, np.eye(3)) and size == (pixels.shape[1], pixels.shape[0]):
        return Warped(pixels, np.ones(pixels.shape[:2], np.bool_))
    flags = cv2.INTER_LANCZOS4 | cv2.WARP_INVERSE_MAP
    moved = cv2.warpPerspective(pixels, matrix, size, flags=flags, borderMode=cv2.BORDER_REPLICATE)
    np.maximum(moved, 0, out=moved)
    return Warped(np.asarray(moved, np.float32), _footprint(pixels.shape, matrix, size))


def covered_box(matrix: Matrix, size: tuple[int, int]) -> tuple[int, int, int, int] | None:
    """Return the box of the background frame that the foreground frame covers whole.

    matrix: background px to foreground px.  size: (width, height) px of both frames.
    Returns (x, y, width, height) px; None if there is none.

    >>> covered_box(np.eye(3), (600, 400))  # nothing was resampled
    (0, 0, 600, 400)
    >>> covered_box(np.array([[1.0, 0, 10], [0, 1, 0], [0, 0, 1]]), (600, 400))
    (0, 3, 586, 393)
    """
    if np.array_equal(matrix, np.eye(3)):
        return 0, 0, *size
    near, (far_x, far_y) = _REACH_PX - 1.0, (n - 1.0 - _REACH_PX for n in size)
    corners = np.array([[[near, near], [far_x, near], [near, far_y], [far_x, far_y]]])
    at = cv2.perspectiveTransform(corners, np.linalg.inv(matrix))[0]
    x, y = np.ceil([max(0.0, *at[[0, 2], 0]), max(0.0, *at[[0, 1], 1])])
    width, height = size
    right, bottom = np.floor([min(width - 1, *at[[1, 3], 0]), min(height - 1, *at[[2, 3], 1])])
    box = int(x), int(y), int(right - x) + 1, int(bottom - y) + 1
    return box if min(box[2:]) > 0 else None


def _footprint(shape: tuple[int, ...], matrix: Matrix, size: tuple[int, int]) -> np.ndarray:
    inner = np.zeros(shape[:2], np.uint8)
    inner[_REACH_PX - 1 : -_REACH_PX, _REACH_PX - 1 : -_REACH_PX] = 1
    flags = cv2.INTER_NEAREST | cv2.WARP_INVERSE_MAP
    return np.asarray(cv2.warpPerspective(inner, matrix, size, flags=flags) > 0, np.bool_)
