"""A sensor behind a colour filter array: one colour a photosite, the others interpolated.

What that does to grain no white noise shows: it spreads over neighbours, hides from differences of
adjacent pixels, and red and blue have more of it than green.  Demosaicing is OpenCV's, along edges.
"""

import cv2
import numpy as np

from blendkit.frame import Float
from blendkit.simulate.noise import noisy

_BALANCE = np.array([2.0, 1.0, 1.6], np.float32)
"""White balance in daylight: red and blue photosites gather less (common practice, no source)."""
_BLACK, _WHITE = 2000.0, 56000.0
"""Codes of no light and of light 1: up to about ISO 3200 no noise in the dark is cut off."""


def mosaicked(light: Float, iso: float, *, seed: int) -> Float:
    """Return light as photosites of red, green, green, blue see it, with noise, demosaiced.

    light: float32 (height, width, 3), linear.
    """
    taken = noisy(light / _BALANCE, iso, seed=seed)
    sites = taken[..., 1].copy()
    sites[::2, ::2], sites[1::2, 1::2] = taken[::2, ::2, 0], taken[1::2, 1::2, 2]
    coded = np.clip(np.rint(sites * (_WHITE - _BLACK) + _BLACK), 0, 65535).astype(np.uint16)
    demosaiced = cv2.demosaicing(coded, cv2.COLOR_BayerRGGB2RGB_EA)
    return np.asarray((demosaiced - _BLACK) / (_WHITE - _BLACK) * _BALANCE, np.float32)
