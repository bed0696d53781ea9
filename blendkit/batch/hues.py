"""Colours of small versions: two set-ups before like backdrops differ in them.

Blur hardly touches broad colour, and neither do exposure, fall-off and a change of the white
balance over the whole frame, as only ratios of channels about their mean are compared.  So frames
of one set-up agree however they were focused and stopped down.
"""

import cv2
import numpy as np

from blendkit.filters.bands import gaussian
from blendkit.filters.resample import matrix_at_reduced_scale, reduce_by
from blendkit.frame import Float, Matrix

HUES_PX = 80
"""Long side about which colours are kept, px."""

_SPREAD_PX = 1.7
_DARK = 0.01
_GREY_EV = 0.1
"""Colour contrast below this tells nothing: frames without colour agree."""


def hues_of(pixels: Float) -> Float:
    """Return log2 of red and of blue over green, float32 (height, width, 2), long side 80 px.

    pixels: linear light, float32 (height, width, 3).
    """
    factor = max(1, round(max(pixels.shape) / HUES_PX))
    light = np.log2(reduce_by(pixels, factor) + np.float32(_DARK))
    over_green = [light[..., k] - light[..., 1] for k in (0, 2)]
    return np.stack([gaussian(ratio, _SPREAD_PX) for ratio in over_green], axis=-1)


def hue_agreement(first: Float, second: Float, matrix: Matrix, *, small_px: int) -> float:
    """Return how two frames' colours agree, -1 to 1: twice the shared over the summed power.

    Parameters
    ----------
    first, second : of `hues_of`, of one shape.
    matrix : 3x3, px of the first to px of the second small version.
    small_px : long side of the small versions.
    """
    size = (first.shape[1], first.shape[0])
    own = matrix_at_reduced_scale(matrix, small_px / max(size))
    flags = cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP
    moved = cv2.warpPerspective(second, own, size, flags=flags)
    real = cv2.warpPerspective(np.ones(first.shape[:2], np.float32), own, size, flags=flags) > 0.99
    if not real.any():
        return 1.0
    one, other = (values[real] - values[real].mean(axis=0) for values in (first, moved))
    shared, power = 2 * float((one * other).sum()), float((one**2 + other**2).sum())
    floor = 2 * one.size * _GREY_EV**2
    return float((shared + floor) / (power + floor))
