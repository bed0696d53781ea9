"""The matting Laplacian of Levin, Lischinski & Weiss (2008), doi:10.1109/TPAMI.2007.1177.

For pixels i and j of a picture I, over all 3 x 3 windows k that hold both,

    L_ij = sum_k  delta_ij - (1 + (I_i - m_k)' V_k (I_j - m_k)) / 9,   V_k = (C_k + e/9)^-1

with m_k and C_k the window's mean and covariance.  Multiplied out, V_k, V_k m_k and m_k' V_k m_k
are added over the few windows that two pixels share, and only then meet the pixels' colours.  Only
rows of open pixels are made.
"""

import cv2
import numpy as np
from numpy.typing import NDArray

from blendkit.frame import Bool

Double = NDArray[np.float64]
Index = NDArray[np.intp]

_STEPS = (-1, 0, 1)
_REACH = (-2, -1, 0, 1, 2)
_OFFSETS = tuple((dy, dx) for dy in _REACH for dx in _REACH)
_PAIRS = ((0, 0), (0, 1), (0, 2), (1, 1), (1, 2), (2, 2))
"""Entries of a symmetric 3 x 3 matrix, in the order in which they are kept."""
_AT_ONCE = 4096
"""Pixels worked at once: what belongs to them stays in the processor's cache."""


def laplacian_rows(image: Double, open_: Bool, *, epsilon: float = 1e-7) -> tuple[Index, Double]:
    """Return the rows of the open pixels.

    Parameters
    ----------
    image : ndarray
        float64 (height, width, 3), at least 3 px high and wide.
    open_ : ndarray
        bool (height, width).
    epsilon : float
        Regularises flat windows.

    Returns
    -------
    columns : ndarray
        (n, 25): the pixels of the 5 x 5 neighbourhood, flattened, rising; -1 outside the picture.
    values : ndarray
        float64 (n, 25), 0 outside the picture.
    """
    # Colours near 0 lose nothing when the products are taken apart.
    planes = np.ascontiguousarray(np.moveaxis(image - image.mean(axis=(0, 1)), 2, 0))
    terms, number = _window_terms(planes, open_, epsilon)
    places = np.flatnonzero(open_)
    columns = _beside(places, open_.shape)
    values = np.empty(columns.shape, np.float64)
    for first in range(0, len(places), _AT_ONCE):
        part = slice(first, first + _AT_ONCE)
        values[part] = _entries(planes, terms, number, places[part], columns[part])
    values[columns < 0] = 0
    return columns, values


def _window_terms(planes: Double, open_: Bool, epsilon: float) -> tuple[Double, Index]:
    """Return V (6 entries), -V m (3), 1 + m' V m and 1 of every window that holds an open pixel.

    terms: (11, windows + 1), the last column 0.  number: the column of the window around each
    pixel, (height + 2, width + 2), with a rim; the last one's where none lies in the picture.
    """
    used = cv2.dilate(open_.astype(np.uint8), np.ones((3, 3), np.uint8)) > 0
    used[[0, -1]], used[:, [0, -1]] = False, False
    mean = np.stack([_mean(plane)[used] for plane in planes])
    products = np.stack([_mean(planes[a] * planes[b])[used] for a, b in _PAIRS])
    products -= [mean[a] * mean[b] for a, b in _PAIRS]
    inverse = _inverse(products, epsilon / 9)
    along = -_times(inverse, mean)
    constant = 1 - (mean * along).sum(axis=0)
    terms = np.concatenate([inverse, along, constant[None], np.ones_like(constant)[None]])
    number = np.full((used.shape[0] + 2, used.shape[1] + 2), terms.shape[1], np.intp)
    number[1:-1, 1:-1][used] = np.arange(terms.shape[1])
    return np.pad(terms, ((0, 0), (0, 1))), number


def _beside(places: Index, shape: tuple[int, ...]) -> Index:
    """Return the pixels of the 5 x 5 neighbourhoods, flattened, (n, 25), -1 outside."""
    height, width = shape
    step_y, step_x = np.array(_OFFSETS).T
    y, x = (
        at[:, None] + step
        for at, step in zip(np.divmod(places, width), (step_y, step_x), strict=True)
    )
    inside = (y >= 0) & (y < height) & (x >= 0) & (x < width)
    return np.where(inside, y * width + x, -1)


def _entries(planes: Double, terms: Double, number: Index, places: Index, columns: Index) -> Double:
    """Return the entries of some pixels with their neighbours, (n, 25)."""
    width = number.shape[1]
    y, x = np.divmod(places, planes.shape[2])
    middle = (y + 1) * width + x + 1
    windows = [
        [terms[:, number.ravel()[middle + ky * width + kx]] for kx in _STEPS] for ky in _STEPS
    ]
    shared = _shared_sums(windows)
    shades = planes.reshape(3, -1)
    own = shades[:, places]
    met = np.ones((10, len(places)))
    entries = np.empty((len(places), len(_OFFSETS)))
    for index, offset in enumerate(_OFFSETS):
        _meet(own, shades[:, columns[:, index]], met)
        entries[:, index] = np.einsum("kn,kn->n", shared[offset][:10], met) / -9
    entries[:, _OFFSETS.index((0, 0))] += shared[0, 0][10]
    return entries


def _meet(one: Double, other: Double, met: Double) -> None:
    """Put into met what the terms are multiplied by: products of two colours, and their sum."""
    for row, (a, b) in enumerate(_PAIRS):
        np.multiply(one[a], other[b], out=met[row])
        if a != b:
            met[row] += one[b] * other[a]
    np.add(one, other, out=met[6:9])


def _shared_sums(windows: list[list[Double]]) -> dict[tuple[int, int], Double]:
    """Return the sums over the windows that a pixel shares with each one beside it, (11, n).

    windows: the terms of the 3 x 3 windows that hold the pixel, from the top left.
    """
    across = [_overlaps(row) for row in windows]
    down = [_overlaps([row[k] for row in across]) for k in range(len(_REACH))]
    return {(dy, dx): down[k][m] for k, dx in enumerate(_REACH) for m, dy in enumerate(_REACH)}


def _overlaps(three: list[Double]) -> list[Double]:
    """Return the sums that stay when three windows meet three moved by -2, -1, 0, 1, 2."""
    first, middle, last = three
    return [first, first + middle, first + middle + last, middle + last, last]


def _mean(plane: Double) -> Double:
    """Return the means of 3 x 3 px; those at the rim are not used."""
    return np.asarray(cv2.blur(plane, (3, 3)), np.float64)


def _inverse(covariance: Double, ridge: float) -> Double:
    """Return the inverse of symmetric matrices, (6, n), with a ridge added to their diagonal."""
    a, b, c, d, e, f = covariance
    a, d, f = a + ridge, d + ridge, f + ridge
    minors = (
        d * f - e * e,
        c * e - b * f,
        b * e - c * d,
        a * f - c * c,
        b * c - a * e,
        a * d - b * b,
    )
    determinant = a * minors[0] + b * minors[1] + c * minors[2]
    return np.asarray(np.stack(minors) / determinant, np.float64)


def _times(matrix: Double, vector: Double) -> Double:
    """Return symmetric matrices, (6, n), times vectors, (3, n)."""
    a, b, c, d, e, f = matrix
    x, y, z = vector
    return np.stack([a * x + b * y + c * z, b * x + d * y + e * z, c * x + e * y + f * z])
