"""The sitter's zone carried on to her outline, over skin and cloth that hold nothing to measure.

A smooth arm under a veil shows neither blur nor detail, and the windows of what is measured reach
over it from the trees beside.  Her outline is seen all the same: the light steps there, and inside
it hardly does.  So the zone spreads from pixel to pixel as a random walker would, who seldom steps
over an edge (Grady 2006, IEEE TPAMI 28(11), doi:10.1109/TPAMI.2006.233), no farther than a limb.
"""

import cv2
import numpy as np
from skimage.segmentation import random_walker
from threadpoolctl import threadpool_limits

from blendkit.filters.resample import enlarge, reduce_by, share_in_cells
from blendkit.frame import Bool, Float

_WORKING_PX = 400
_REACH_SHARE = 0.05
"""How far the zone may spread each time, of the long side: the breadth of a limb."""
_EDGE = 8000.0
"""How much an edge holds back; with half of it and with twice of it more of her is lost."""
_WITHIN_PX, _TIMES = 3, 2
"""How far inside the zone the walker sets out, px of the working size, and how often.  The zone
reaches a little past her outline, and a walker set out beside her walks on over even ground: boughs
then end in mid-air before her.  Set out well inside her he needs two rounds for an arm."""
_LIKELY, _ALL = 0.5, 0.9
_NO_EDGES = 1e-3
_LEFT = 1e-5
"""Of the equations' right side; less costs seconds and moves 0.01 % of a picture's pixels."""
_BEYOND, _INSIDE = 2, 1


def carried_to_outline(zone: Bool, picture: Float, beyond: Bool | None = None) -> Bool:
    """Return a zone with what belongs to it by the picture's edges.

    Parameters
    ----------
    zone : ndarray
        bool (height, width), surely inside.
    picture : ndarray
        The background frame at that size, float32 (height, width, 3), linear.
    beyond : ndarray, optional
        bool (height, width), what of the rest is known to be outside, however near it lies.

    Returns
    -------
    ndarray
        bool (height, width), the zone and what was added.
    """
    outside = np.zeros_like(zone) if beyond is None else beyond
    for _ in range(_TIMES):
        zone = _carried_once(zone, picture, outside)
    return zone


def _carried_once(zone: Bool, picture: Float, beyond: Bool) -> Bool:
    factor = -(-max(zone.shape) // _WORKING_PX)
    inside = share_in_cells(zone, factor) > _LIKELY
    away_px = cv2.distanceTransform((~inside).astype(np.uint8), cv2.DIST_L2, 5)
    marks = np.zeros(inside.shape, np.int32)
    marks[away_px > _REACH_SHARE * max(inside.shape)] = _BEYOND
    marks[(away_px > 1) & (share_in_cells(beyond, factor) > _ALL)] = _BEYOND
    kernel = np.ones((2 * _WITHIN_PX + 1, 2 * _WITHIN_PX + 1), np.uint8)
    marks[cv2.erode(inside.astype(np.uint8), kernel) > 0] = _INSIDE
    root = np.sqrt(np.clip(reduce_by(picture, factor), 0, 1))
    if set(np.unique(marks)) != {0, _INSIDE, _BEYOND} or float(root.std()) < _NO_EDGES:
        return zone
    # One thread: products this short gain nothing from a second, wait for it beside other work, and
    # add up in another order with each number of threads.
    with threadpool_limits(1, user_api="blas"):
        # Solved by steps: the direct solver never comes back when it finds no memory.
        chances = random_walker(
            root,
            marks,
            beta=_EDGE,
            mode="cg_j",
            tol=_LEFT,
            prob_tol=np.inf,  # a place shut in by edges may miss its chance; 0.5 is all that counts
            return_full_prob=True,
            channel_axis=-1,
        )
    size = (zone.shape[1], zone.shape[0])
    chance = enlarge(np.asarray(chances[0], np.float32), factor, size)
    return np.asarray(zone | (chance > _LIKELY), np.bool_)
