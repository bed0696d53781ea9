"""Resampling of a whole picture to its print size, and output sharpening."""

import numpy as np

from blendkit.files.print_size import Placement
from blendkit.frame import LUMINANCE_WEIGHTS, Float


def to_size(pixels: Float, placement: Placement) -> Float:
    """Return the crop of a placement at its size, in linear light.

    Reduction averages with a Hamming-windowed kernel, which unlike sharper ones draws no dark
    line along bright edges; enlarging is bicubic.

    Parameters
    ----------
    pixels : float32 (height, width, 3), linear.
    placement : crop and size.
    """
    from PIL import Image  # noqa: PLC0415 - loaded when a delivery is made

    x, y, width, height = placement.crop
    part = pixels[y : y + height, x : x + width]
    if (width, height) == placement.size:
        return part
    enlarged = placement.size[0] > width
    kernel = Image.Resampling.BICUBIC if enlarged else Image.Resampling.HAMMING
    out = np.empty((placement.size[1], placement.size[0], 3), np.float32)
    for channel in range(3):
        plane = Image.fromarray(np.ascontiguousarray(part[..., channel]))
        out[..., channel] = np.asarray(plane.resize(placement.size, kernel))
    np.maximum(out, 0.0, out=out)
    return out


def sharpened(encoded: Float, *, amount: float, disc_px: float) -> Float:
    """Return encoded pixels with their local contrast raised by `amount`.

    Only lightness is changed, so that edges do not take on colour, and it stays within that of the
    3x3 neighbours by a tenth, so that no line runs along the edges.

    Parameters
    ----------
    encoded : float32 (height, width, 3), 0 to 1.
    amount : 1 = fine contrast doubled.
    disc_px : diameter of the blur that fine contrast is told from.
    """
    from scipy import ndimage  # noqa: PLC0415 - slow to load

    light = encoded @ LUMINANCE_WEIGHTS
    # A Gaussian has the spread of a disc of diameter 4 sigma.
    fine = light - ndimage.gaussian_filter(light, disc_px / 4)
    low, high = (
        ndimage.minimum_filter(light, 3) - 0.1 * np.abs(fine),
        ndimage.maximum_filter(light, 3) + 0.1 * np.abs(fine),
    )
    change = np.clip(light + amount * fine, low, high) - light
    return np.asarray(np.clip(encoded + change[..., None], 0.0, 1.0), np.float32)


def on_sheet(encoded: Float, placement: Placement, grey: float) -> Float:
    """Return the encoded picture in the middle of its sheet; the border is `grey` (0 to 1)."""
    if placement.sheet == placement.size:
        return encoded
    width, height = placement.sheet
    sheet = np.full((height, width, 3), grey, np.float32)
    left, top = (width - placement.size[0]) // 2, (height - placement.size[1]) // 2
    sheet[top : top + placement.size[1], left : left + placement.size[0]] = encoded
    return sheet
