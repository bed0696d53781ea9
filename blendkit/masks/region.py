"""Where foreground may stand: the search region that the matte is looked for in."""

import numpy as np

from blendkit.frame import Bool, Float
from blendkit.hints import Hints

_PAINTED = 0.5


def search_region(footprint: Bool, softer: Float, sitter: Float, hints: Hints) -> Bool:
    """Return where the matte is searched.

    Parameters
    ----------
    footprint : ndarray
        bool (height, width), where the foreground frame reaches.
    softer : ndarray
        Disc by which the background frame is the softer one, float32 (height, width), px.
    sitter : ndarray
        float32 (height, width), 1 where the zone in focus stays the background frame's.
    hints : Hints
        A painted foreground mask decides; without one the whole frame is searched, off the sitter
        and where the background frame is not the sharper one.

    Returns
    -------
    ndarray
        bool (height, width).
    """
    if hints.foreground_mask is not None:
        region = footprint & (hints.foreground_mask > _PAINTED)
    else:
        region = footprint & (sitter < _PAINTED) & (softer > -1)
    if hints.background_mask is not None:
        region &= hints.background_mask <= _PAINTED
    return np.asarray(region, np.bool_)
