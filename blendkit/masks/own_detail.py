"""Where the foreground frame holds detail of its own, in a pair of two focuses.

There the background frame is the sharper one over whole woods, and the map of blur, whose windows
are as wide as its discs, says so of twigs in front of them too.  But what the background frame
shows sharper is soft in the foreground frame: fine detail that is lost from the one to the other is
no foreground, and all else may be.  Where both frames focus on the sitter nothing is lost.
"""

import cv2
import numpy as np

from blendkit.filters.bands import band_pass, gaussian
from blendkit.filters.circles import round_kernel
from blendkit.filters.resample import enlarge_mask, reduce_by
from blendkit.frame import Bool, Float, luminance

_WORKING_PX = 1200
_FINE_PX, _WIDE_PX, _WINDOW_PX = 1.0, 2.5, 3.0
_PASSED = 0.048
"""Share of white noise's variance that the band lets pass: 1/4pi (1/f^2 + 1/w^2) - 1/pi(f^2+w^2),
for sigmas f and w."""
_SEEN, _LOST = 4.0, 0.12
"""Energy from which there is detail, as a multiple of the noise's, and the share of it that is left
where it was lost: a smooth bough before leaves that show through its veil still has more."""
_REACH_PX = 3
_MIDDLE_GREY = 0.18


def own_detail(background: Float, aligned: Float, grain: tuple[float, float]) -> Bool:
    """Return where no fine detail of the background frame is lost in the foreground frame.

    Parameters
    ----------
    background, aligned : ndarray
        Both frames on one grid in one light, float32 (height, width, 3), linear.
    grain : tuple
        Noise of both at middle grey, linear standard deviation.

    Returns
    -------
    ndarray
        bool (height, width), with what lies within 3 px at 1200 px width.
    """
    height, width = background.shape[:2]
    factor = max(round(max(height, width) / _WORKING_PX), 1)
    # In roots of light noise is nearly the same in shadows and lights.
    noise = [_PASSED * (sigma / factor) ** 2 / (4 * _MIDDLE_GREY) for sigma in grain]
    there, left = (
        _energy(reduce_by(frame, factor)) - floor
        for frame, floor in zip((background, aligned), noise, strict=True)
    )
    lost = (there > _SEEN * noise[0]) & (left < _LOST * there)
    may_be = cv2.dilate((~lost).astype(np.uint8), round_kernel(_REACH_PX)) > 0
    return enlarge_mask(np.asarray(may_be, np.bool_), factor, (width, height))


def _energy(pixels: Float) -> Float:
    root = np.sqrt(np.maximum(luminance(pixels), 0))
    return gaussian(np.square(band_pass(root, _FINE_PX, _WIDE_PX)), _WINDOW_PX)
