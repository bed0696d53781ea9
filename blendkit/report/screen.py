"""Pictures for a screen: small, 8 bits, sRGB."""

from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from blendkit.files import convert, encode, profiles
from blendkit.frame import Float, Frame

Picture = NDArray[np.uint8]
"""uint8 (height, width, 3), sRGB, red first."""

SCREEN_PX = 1600
"""Long side of a preview: what a laptop's screen shows at once."""


def reduced(values: Float, long_side_px: int = SCREEN_PX) -> Float:
    """Return values scaled down by averaging to a long side, px; unchanged if already smaller."""
    height, width = values.shape[:2]
    if max(height, width) <= long_side_px:
        return values
    size = screen_size((width, height), long_side_px)
    return np.asarray(cv2.resize(values, size, interpolation=cv2.INTER_AREA), np.float32)


def screen_size(size: tuple[int, int], long_side_px: int = SCREEN_PX) -> tuple[int, int]:
    """Return (width, height) of a picture reduced to a long side.

    Examples
    --------
    >>> screen_size((6000, 4000)), screen_size((800, 1200))
    ((1600, 1067), (800, 1200))
    """
    scale = min(long_side_px / max(size), 1)
    return max(round(size[0] * scale), 1), max(round(size[1] * scale), 1)


def on_screen(pixels: Float, like: Frame, *, long_side_px: int = SCREEN_PX) -> Picture:
    """Return linear pixels as a screen shows them.

    Parameters
    ----------
    pixels : float32 (height, width, 3), linear, in the profile of `like`.
    like : the background frame.
    long_side_px : to reduce to, in linear light.

    Returns
    -------
    uint8 (height, width, 3), sRGB.
    """
    small = reduced(pixels, long_side_px)
    profile = like.embedded.icc_profile
    if profile is not None and profile != profiles.srgb():
        small = small.copy()
        convert.between(profile, profiles.srgb())(small)
    codes: NDArray[Any] = encode.encoded(small, profiles.srgb(), 8)
    return codes
