"""Blur by a disc, the image of a point out of focus, always stated by its diameter in px.

A blurred picture holds nothing finer than a fraction of its disc, so large discs are applied to a
picture reduced until the disc spans 24 to 48 px, and the smooth result is enlarged again.
"""

from collections.abc import Sequence

import cv2
import numpy as np

from blendkit.filters.resample import enlarge, reduce_by, working_factor
from blendkit.frame import Float

WORKING_DISC_PX = 24.0
"""Least disc at which a large blur is computed: a hard edge stays within 0.3 % of exact."""
_SUBSAMPLES = 8


def disc_kernel(diameter_px: float) -> Float:
    """Return the normalised kernel of a disc, coverage of each pixel by 8x8 sub-samples.

    Parameters
    ----------
    diameter_px : float
        Disc diameter in px; at 0 the kernel is the single pixel itself.

    Returns
    -------
    ndarray
        float32, odd square, sums to 1.

    Examples
    --------
    >>> disc_kernel(0).shape, disc_kernel(9).shape
    ((1, 1), (9, 9))
    >>> round(float(disc_kernel(9)[4, 4] * np.pi * 4.5**2), 2)
    1.0
    """
    return overlap_kernel(diameter_px, ((0.0, 0.0),))


def overlap_kernel(diameter_px: float, centers: Sequence[tuple[float, float]]) -> Float:
    """Return what discs about all centres, (x, y) px from the middle, share; as `disc_kernel`.

    The discs overlap in the middle, and the kernel is no larger than one of them there.
    """
    reach = max(int(np.ceil((diameter_px - 1) / 2)), 0)
    if reach == 0 and diameter_px < 1:
        return np.ones((1, 1), np.float32)
    side = 2 * reach + 1
    fine = (np.arange(side * _SUBSAMPLES) + 0.5) / _SUBSAMPLES - side / 2
    within = np.ones((len(fine), len(fine)), np.bool_)
    for x, y in centers:
        away = (fine[None, :] - x) ** 2 + (fine[:, None] - y) ** 2
        within &= away <= (diameter_px / 2) ** 2
    cells = within.reshape(side, _SUBSAMPLES, side, _SUBSAMPLES).mean(axis=(1, 3))
    return np.asarray(cells / cells.sum(), np.float32)


def disc_blur(values: Float, diameter_px: float, *, border: int = cv2.BORDER_REFLECT_101) -> Float:
    """Blur an array with a disc.

    Parameters
    ----------
    values : ndarray
        float32, (height, width) or (height, width, channels).
    diameter_px : float
        Disc diameter in px; below 0.5 px the input comes back as a copy.
    border : int
        OpenCV border mode.

    Returns
    -------
    ndarray
        float32, the input's shape.
    """
    if diameter_px < 0.5:
        return values.copy()
    factor = disc_factor(diameter_px, min(values.shape[:2]))
    if factor == 1:
        return _blur_directly(values, diameter_px, border)
    small = reduce_by(values, factor)
    blurred = _blur_directly(small, narrowed_disc_px(diameter_px, factor), border)
    return enlarge(blurred, factor, (values.shape[1], values.shape[0]))


def disc_factor(diameter_px: float, short_side_px: int) -> int:
    """Return the reduction at which a disc is applied.

    >>> disc_factor(47.0, 2000), disc_factor(120.0, 2000), disc_factor(120.0, 16)
    (1, 5, 4)
    """
    return working_factor(diameter_px, WORKING_DISC_PX, short_side_px)


def narrowed_disc_px(diameter_px: float, factor: int) -> float:
    """Return the disc for a picture reduced by a factor, in its own px.

    A cell adds a variance of n^2/12 and linear interpolation n^2/6; a disc has D^2/16.
    """
    widened = 4.0 * factor**2 if factor > 1 else 0.0
    return float(np.sqrt(max(diameter_px**2 - widened, 0.0))) / factor


def _blur_directly(values: Float, diameter_px: float, border: int) -> Float:
    kernel = disc_kernel(diameter_px)
    return np.asarray(cv2.filter2D(values, -1, kernel, borderType=border), np.float32)
