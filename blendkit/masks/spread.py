"""Strokes to regions: a few strokes decide about everything that hangs together with them.

The network has proposed what stands in front.  Each connected piece of that proposal follows the
strokes that touch it; a piece that carries both kinds is divided between them by flooding from the
strokes (Meyer 1994, doi:10.1016/0165-1684(94)90060-4), so a background stroke stops the spreading.
By itself a background stroke reaches along its piece as far as a few times its own length: what was
wrongly proposed often touches a bough, and a dab on it must not take the whole tree away.  Pieces
nobody touched stay where they look like what was painted.  A stroke also says that there is a bough
where the network saw hardly any.
"""

import cv2
import numpy as np
from skimage.graph import MCP_Geometric
from skimage.segmentation import watershed

from blendkit.filters.resample import any_in_cells
from blendkit.frame import Bool, Float, Label

_PIECE = 0.08
_BRIDGE_PX = 5
_LIKE = 3.0
_FRONT, _BACK = 1, 2
_MARKED = 0.5
_REACH = 3.0
"""How far a background stroke reaches along its piece, in lengths of its own."""
_WORKING_PX = 800


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
    flooded = _decided(proposal, piece, front, back)
    keep = (flooded == _FRONT) | ((flooded == 0) & _alike(aligned, proposal, flooded, piece))
    return np.asarray(proposal * keep, np.float32)


def left_out(proposal: Float, front: Float | None, back: Float) -> Bool:
    """Return what background strokes take of the pieces; arguments as for `spread_strokes`."""
    return np.asarray(_decided(proposal, _pieces(proposal), front, back) == _BACK, np.bool_)


def marked_boughs(proposal: Float, front: Float, back: Float | None) -> Bool:
    """Return what foreground strokes mark: their own paint, and the pieces that they touch.

    A piece may be faint: somebody has said that it is one.  Arguments: as for `spread_strokes`.
    """
    reached = _flooded(proposal, _pieces(proposal), front, back) == _FRONT
    return np.asarray(reached | (front > _MARKED), np.bool_)


def reduced_marks(marks: Float | None, factor: int) -> Float | None:
    """Return rasterised strokes reduced by a factor; what they touch at all is marked still."""
    if marks is None or factor == 1:
        return marks
    return any_in_cells(marks > _MARKED, factor).astype(np.float32)


def within_reach(piece: Bool, marked: Bool) -> Bool:
    """Return what of pieces lies within reach of marks, on a way inside them.

    piece, marked: bool (height, width).  A mark reaches about `_REACH` times its length; the ways
    are measured in a picture of at most `_WORKING_PX`.
    """
    factor = -(-max(piece.shape) // _WORKING_PX)
    inside, marks = (any_in_cells(mask, factor) for mask in (piece | marked, marked))
    count, labels, stats, _ = cv2.connectedComponentsWithStats(marks.astype(np.uint8))
    length = np.hypot(stats[:, cv2.CC_STAT_WIDTH], stats[:, cv2.CC_STAT_HEIGHT])
    alike = np.rint(2 * np.log2(np.maximum(length, 1))).astype(
        int
    )  # marks of much the same length go together
    reached = np.zeros(inside.shape, np.bool_)
    for size in np.unique(alike[1:count]):
        ways = MCP_Geometric(np.where(inside, 1.0, -1.0))  # below 0 there is no way
        starts = np.argwhere(np.isin(labels, np.flatnonzero(alike == size)) & marks)
        costs, _ = ways.find_costs(starts)
        reached |= costs <= _REACH * 2 ** (size / 2)
    full = np.kron(reached, np.ones((factor, factor), np.bool_))
    return np.asarray(full[: piece.shape[0], : piece.shape[1]], np.bool_)


def _pieces(proposal: Float) -> Bool:
    kernel = np.ones((_BRIDGE_PX, _BRIDGE_PX), np.uint8)
    return cv2.dilate((proposal > _PIECE).astype(np.uint8), kernel) > 0


def _flooded(proposal: Float, piece: Bool, front: Float | None, back: Float | None) -> Label:
    """Return 1 where a foreground stroke reaches along the pieces, 2 where a background stroke."""
    markers = np.zeros(proposal.shape, np.int32)
    if front is not None:
        markers[(front > _MARKED) & piece] = _FRONT
    if back is not None:
        markers[back > _MARKED] = _BACK
    return np.asarray(watershed(1 - proposal, markers, mask=piece), np.uint8)


def _decided(proposal: Float, piece: Bool, front: Float | None, back: Float | None) -> Label:
    """Return 1 and 2 as `_flooded` does, 2 only as far as a background stroke reaches."""
    flooded = _flooded(proposal, piece, front, back)
    if back is not None:
        flooded[(flooded == _BACK) & ~within_reach(piece, back > _MARKED)] = 0
    return flooded


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
