"""Strokes to regions: a few strokes decide about everything that hangs together with them.

The network has proposed what stands in front.  Each connected piece of that proposal follows the
strokes that touch it; a piece that carries both kinds is divided between them by flooding from the
strokes (Meyer 1994, doi:10.1016/0165-1684(94)90060-4), so a background stroke stops the spreading.
Pieces nobody touched stay where they look like what was painted.  A stroke also says that there is
a bough where the network saw hardly any.
"""

import cv2
import numpy as np
from skimage.segmentation import watershed

from blendkit.frame import Bool, Float, Label

_PIECE = 0.08
_BRIDGE_PX = 5
_LIKE = 3.0
_FRONT, _BACK = 1, 2


def spread_strokes(
    proposal: Float, aligned: Float, front: Float | None, back: Float | None
) -> Float:
    """Keep of a proposed matte what the strokes mean.

    Parameters
    ----------
    proposal : ndarray
        Matte, float32 (height, width).
    aligned : ndarray
        Foreground frame on the same grid, float32 (height, width, 3), linear.
    front, back : ndarray, optional
        Rasterised strokes, float32 (height, width), 1 = painted.

    Returns
    -------
    ndarray
        float32 (height, width), the proposal or 0.
    """
    piece = _pieces(proposal)
    flooded = _flooded(proposal, piece, front, back)
    keep = (flooded == _FRONT) | ((flooded == 0) & _alike(aligned, proposal, flooded, piece))
    return np.asarray(proposal * keep, np.float32)


def marked_boughs(proposal: Float, front: Float, back: Float | None) -> Bool:
    """Return what foreground strokes mark: their own paint, and the pieces that they touch.

    A piece may be faint: somebody has said that it is one.  Arguments: as for `spread_strokes`.
    """
    reached = _flooded(proposal, _pieces(proposal), front, back) == _FRONT
    return np.asarray(reached | (front > 0.5), np.bool_)


def _pieces(proposal: Float) -> Bool:
    kernel = np.ones((_BRIDGE_PX, _BRIDGE_PX), np.uint8)
    return cv2.dilate((proposal > _PIECE).astype(np.uint8), kernel) > 0


def _flooded(proposal: Float, piece: Bool, front: Float | None, back: Float | None) -> Label:
    """Return 1 where a foreground stroke reaches along the pieces, 2 where a background stroke."""
    markers = np.zeros(proposal.shape, np.int32)
    if front is not None:
        markers[(front > 0.5) & piece] = _FRONT
    if back is not None:
        markers[back > 0.5] = _BACK
    return np.asarray(watershed(1 - proposal, markers, mask=piece), np.uint8)


def _alike(aligned: Float, proposal: Float, flooded: Label, piece: Bool) -> Bool:
    """Return the untouched pieces whose colour is that of the painted ones."""
    solid = proposal > 0.7
    known = solid & (flooded == _FRONT)
    if known.sum() < 50:
        return piece
    logs = np.log2(np.maximum(aligned, 1e-3))
    middle, spread = np.median(logs[known], axis=0), logs[known].std(axis=0) + 0.3
    count, labels = cv2.connectedComponents((piece & (flooded == 0)).astype(np.uint8))
    far = np.abs((logs - middle) / spread).max(axis=2)
    inside = solid & (labels > 0)
    total = np.bincount(labels[inside], far[inside], count)
    size = np.bincount(labels[inside], minlength=count)
    like = total / np.maximum(size, 1) < _LIKE
    like[0] = False
    return np.asarray(like[labels], np.bool_)
