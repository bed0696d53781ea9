"""Bands of spatial frequency, and windowed means."""

import cv2
import numpy as np

from blendkit.frame import Float


def gaussian(values: Float, sigma_px: float) -> Float:
    """Blur with a Gaussian of standard deviation sigma_px; reflects at the rim."""
    if sigma_px <= 0:
        return values
    out = cv2.GaussianBlur(values, (0, 0), sigma_px, borderType=cv2.BORDER_REFLECT_101)
    return np.asarray(out, np.float32)


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
