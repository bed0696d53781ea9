"""The zones of a result: which part comes from which frame, and what nobody could place.

A zone is unplaced where one frame speaks for foreground and the other against it, or where the
matte stays half over more than an edge's width.  It follows the background frame, and is shown so
that the user sees what to paint.
"""

import cv2
import numpy as np

from blendkit.frame import Bool, Float, Label

BACKGROUND, SITTER, UNPLACED, FIRST_FOREGROUND = 0, 1, 2, 3
_LARGEST_LABEL = 255
_PIECE = 0.1
_HALF = (0.2, 0.8)
_EDGE_SHARE = 1 / 150
"""Width, of the long side, up to which a half covered rim is an edge."""


def unplaced(proposed: Float, kept: Float) -> Bool:
    """Return what was proposed as foreground and dropped, or stayed half.

    proposed, kept: mattes before and after the frames were asked, float32 (height, width).
    """
    dropped = proposed - kept > 0.4
    half = ((kept > _HALF[0]) & (kept < _HALF[1])).astype(np.uint8)
    side = 2 * round(_EDGE_SHARE * max(kept.shape) / 2) + 1
    wide = cv2.morphologyEx(half, cv2.MORPH_OPEN, np.ones((side, side), np.uint8)) > 0
    speck = np.ones((3, 3), np.uint8)
    large = cv2.morphologyEx((dropped | wide).astype(np.uint8), cv2.MORPH_OPEN, speck)
    return np.asarray(large > 0, np.bool_)


def zone_map(alpha: Float, sitter: Float, open_: Bool) -> Label:
    """Return the numbered zones of a result.

    Parameters
    ----------
    alpha : ndarray
        Matte, float32 (height, width).
    sitter : ndarray
        float32 (height, width), 1 where the background frame stays whatever veils it.
    open_ : ndarray
        bool (height, width), from `unplaced`.

    Returns
    -------
    ndarray
        uint8 (height, width): 0 background, 1 sitter, 2 unplaced, 3 and on the connected pieces of
        foreground, the largest first; past 253 pieces the small ones share the last number.
    """
    zones = np.where(sitter > 0.5, SITTER, BACKGROUND).astype(np.uint8)
    count, labels, stats, _ = cv2.connectedComponentsWithStats((alpha > _PIECE).astype(np.uint8))
    areas = stats[1:, cv2.CC_STAT_AREA]
    order = np.argsort(-areas, kind="stable") + 1
    numbers = np.zeros(count, np.int64)
    numbers[order] = np.minimum(np.arange(len(order)) + FIRST_FOREGROUND, _LARGEST_LABEL)
    front = labels > 0
    zones[front] = numbers[labels[front]]
    zones[open_ & ~front] = UNPLACED
    return zones
