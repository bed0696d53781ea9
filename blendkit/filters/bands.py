"""Bands of spatial frequency, and windowed means."""

import cv2
import numpy as np

from blendkit.filters.resample import enlarge, reduce_by, working_factor
from blendkit.frame import Float

_REDUCED_SIGMA_PX = 4.0


def gaussian(values: Float, sigma_px: float) -> Float:
    """Blur with a Gaussian of standard deviation sigma_px; reflects at the rim."""
    if sigma_px <= 0:
        return values
    out = cv2.GaussianBlur(values, (0, 0), sigma_px, borderType=cv2.BORDER_REFLECT_101)
    return np.asarray(out, np.float32)


def slow_gaussian(values: Float, sigma_px: float) -> Float:
    """Blur with a wide Gaussian at reduced size: what it leaves is smooth, so little is lost.

    The reduction leaves sigma at 4 px and more; cells and linear interpolation widen it by about
    the variance n^2/4 for a reduction by n, which is taken off first.

    Examples
    --------
    >>> step = np.zeros((200, 600), np.float32)
    >>> step[:, 300:] = 1
    >>> bool(np.abs(slow_gaussian(step, 40.0) - gaussian(step, 40.0)).max() < 0.01)
    True
    """
    factor = slow_factor(sigma_px, min(values.shape[:2]))
    small = gaussian(reduce_by(values, factor), narrowed_sigma_px(sigma_px, factor))
    return enlarge(small, factor, (values.shape[1], values.shape[0]))


def slow_factor(sigma_px: float, short_side_px: int) -> int:
    """Return the reduction at which a wide Gaussian is computed.

    >>> slow_factor(40.0, 2000), slow_factor(40.0, 20), slow_factor(5.0, 2000)
    (10, 5, 1)
    """
    return working_factor(sigma_px, _REDUCED_SIGMA_PX, short_side_px)


def narrowed_sigma_px(sigma_px: float, factor: int) -> float:
    """Return the Gaussian for the reduced picture, in its own px."""
    widened = factor**2 / 4 if factor > 1 else 0.0
    return float(np.sqrt(sigma_px**2 - widened)) / factor


def band_pass(values: Float, fine_px: float, wide_px: float) -> Float:
    """Return the difference of two Gaussians (sigmas in px): a thin band with zero mean."""
    return gaussian(values, fine_px) - gaussian(values, wide_px)


def window_mean(values: Float, side_px: int, *, passes: int = 2) -> Float:
    """Return the mean over a square window, applied `passes` times (2 = a tent).

    Repeated box means cost the same at every window size, which a Gaussian does not.
    """
    out = values
    for _ in range(passes):
        blurred = cv2.blur(out, (side_px, side_px), borderType=cv2.BORDER_REFLECT_101)
        out = np.asarray(blurred, np.float32)
    return out
