"""Where foreground may stand: the search region that the matte is looked for in."""

import numpy as np

from blendkit.frame import Bool, Float
from blendkit.hints import PAINTED, Hints
from blendkit.masks.own_detail import own_detail

_LIKELY = 0.5


def search_region(
    footprint: Bool,
    frames: tuple[Float, Float],
    grain: tuple[float, float],
    sitter: Float,
    hers: Bool,
    hints: Hints,
) -> Bool:
    """Return where the matte is searched.

    Parameters
    ----------
    footprint : ndarray
        bool (height, width), where the foreground frame reaches.
    frames : tuple of ndarray
        Background and foreground frame on one grid, float32 (height, width, 3), linear.
    grain : tuple of float
        Noise of both at middle grey, linear standard deviation.
    sitter : ndarray
        float32 (height, width), 1 where the zone in focus stays the background frame's.
    hers : ndarray
        bool (height, width), what of that lies within her outline: boughs run on beside her.
    hints : Hints
        A painted foreground mask decides; without one the whole frame is searched, off the sitter.
        A stroke on foreground opens what it covers either way.
        What the foreground frame shows only blurred is left out either way.

    Returns
    -------
    ndarray
        bool (height, width).
    """
    if hints.foreground_mask is not None:
        meant = hints.foreground_mask > PAINTED
    else:
        meant = (sitter < _LIKELY) | ~hers
    if hints.front_strokes is not None:
        meant |= hints.front_strokes > PAINTED
    region = footprint & meant & own_detail(*frames, grain)
    if hints.background_mask is not None:
        region &= hints.background_mask <= PAINTED
    return np.asarray(region, np.bool_)
