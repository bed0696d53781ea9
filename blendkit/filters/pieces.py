"""Connected pieces of a matte, and what a map says of each as a whole."""

import cv2
import numpy as np
from numpy.typing import NDArray

from blendkit.filters.resample import enlarge
from blendkit.filters.threads import each_part
from blendkit.frame import Float

_THERE = 0.05
_ROWS = 512


def pieces(alpha: Float) -> tuple[int, NDArray[np.int32]]:
    """Return the number of connected pieces, the empty rest counted as piece 0, and their labels.

    alpha: float32 (height, width); labels: int32 (height, width).
    """
    count, labels = cv2.connectedComponents((alpha > _THERE).astype(np.uint8))
    return count, np.asarray(labels, np.int32)


def share_of_pieces(
    alpha: Float, labels: NDArray[np.int32], count: int, share: Float, factor: int = 1
) -> tuple[Float, Float]:
    """Return a map at full size, and its mean over each piece.

    Parameters
    ----------
    alpha : ndarray
        Weight of each place, float32 (height, width).
    labels, count
        From `pieces`.
    share : ndarray
        The map, float32, reduced by `factor`.

    Returns
    -------
    local, whole : ndarray
        float32 (height, width) and (count,); 0 for a piece without weight.

    Examples
    --------
    >>> alpha = np.array([[1, 0.5, 0, 1]], np.float32)
    >>> count, labels = pieces(alpha)
    >>> share_of_pieces(alpha, labels, count, np.array([[0.9, 0.3, 0, 0.2]], np.float32))[1]
    array([0. , 0.7, 0.2], dtype=float32)
    """
    local = enlarge(share, factor, (alpha.shape[1], alpha.shape[0]))
    parts = strips(alpha)
    sums = np.zeros((2, len(parts), count))

    def add_up(part: int) -> None:
        rows = parts[part]
        numbers = labels[rows].ravel()
        sums[0, part] = np.bincount(numbers, alpha[rows].ravel(), count)
        sums[1, part] = np.bincount(numbers, (alpha[rows] * local[rows]).ravel(), count)

    each_part(add_up, range(len(parts)))
    mass, good = sums.sum(axis=1)
    return local, (good / np.maximum(mass, 1e-6)).astype(np.float32)


def strips(alpha: Float) -> list[slice]:
    """Return the picture's rows in parts, so that no double of it is held."""
    return [slice(top, top + _ROWS) for top in range(0, len(alpha), _ROWS)]
