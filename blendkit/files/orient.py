"""Exif orientation: views of a picture upright, and in the order in which its file stores it."""

from typing import Any

import numpy as np  # noqa: F401 - for the examples
from numpy.typing import NDArray


def as_stored(upright: NDArray[Any], orientation: int) -> NDArray[Any]:
    """Return a view of an upright picture in the order in which a file stores it.

    orientation is Exif's, 1 to 8 (CIPA DC-008, 4.6.4): 6 must be turned clockwise to be upright.

    >>> as_stored(np.array([[1, 2, 3], [4, 5, 6]]), 6).tolist()
    [[3, 6], [2, 5], [1, 4]]
    """
    view = _flipped(upright, orientation)
    return view.swapaxes(0, 1) if orientation >= 5 else view


def as_upright(stored: NDArray[Any], orientation: int) -> NDArray[Any]:
    """Return an upright view of a picture as its file stores it, the other way round.

    >>> as_upright(np.array([[3, 6], [2, 5], [1, 4]]), 6).tolist()
    [[1, 2, 3], [4, 5, 6]]
    """
    return _flipped(stored.swapaxes(0, 1) if orientation >= 5 else stored, orientation)


def _flipped(upright: NDArray[Any], orientation: int) -> NDArray[Any]:
    rows = slice(None, None, -1 if orientation in (3, 4, 7, 8) else 1)
    columns = slice(None, None, -1 if orientation in (2, 3, 6, 7) else 1)
    return upright[rows, columns]
