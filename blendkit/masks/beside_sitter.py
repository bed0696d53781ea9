"""Boughs that run on beside the sitter: they are followed into her zone, up to her outline.

What stays the background frame's reaches past her, over even sky between an arm and the waist, and
a bough that was cut off there ends in mid-air.  What is found beside her is believed where it comes
in from outside, or shows again behind her arm what has: a strand of hair in front of the sky hangs
on nothing but her.
"""

import cv2
import numpy as np

from blendkit.filters.resample import any_in_cells, enlarge_mask
from blendkit.frame import Bool, Float

_THERE = 0.05
_LEAST_OUTSIDE_PX = 40
"""How much of a piece must lie outside, px of area: a rim's scraps are less."""
_LIMB_SHARE, _WORKING_PX = 0.04, 1200
"""How near to what comes in another piece may begin, of the long side: a limb lies between them."""
_HERS = 0.5


def beside(region: Bool, sitter: Float) -> Bool:
    """Return what is searched of the sitter's zone, bool (height, width).

    region: bool, where the matte is searched; sitter: float32 (height, width), 1 where she stays
    the background frame's, from `sitter.protected`.
    """
    return np.asarray(region & (sitter > _HERS), np.bool_)


def running_on(alpha: Float, beside_her: Bool) -> Float:
    """Return a matte without the pieces that stand beside the sitter alone.

    Parameters
    ----------
    alpha : ndarray
        As found, float32 (height, width).
    beside_her : ndarray
        bool (height, width), from `beside`.

    Returns
    -------
    ndarray
        float32 (height, width); the very same where nothing was found beside her.
    """
    if not (beside_her & (alpha > 0)).any():
        return alpha
    # A twig of one px may miss a px on its way.
    joined = cv2.dilate((alpha > _THERE).astype(np.uint8), np.ones((3, 3), np.uint8))
    count, labels = cv2.connectedComponents(joined)
    outside = np.bincount(labels[~beside_her], minlength=count)
    comes_in = outside >= _LEAST_OUTSIDE_PX
    comes_in[0] = False
    near = _within_a_limb(comes_in[labels])
    believed = comes_in | (np.bincount(labels[near], minlength=count) > 0)
    return np.asarray(np.where(beside_her & ~believed[labels], np.float32(0), alpha), np.float32)


def _within_a_limb(region: Bool) -> Bool:
    """Return what lies no farther from a region than a limb is broad."""
    factor = max(round(max(region.shape) / _WORKING_PX), 1)
    there = any_in_cells(region, factor)
    away_px = cv2.distanceTransform((~there).astype(np.uint8), cv2.DIST_L2, 5)
    near = np.asarray(away_px <= _LIMB_SHARE * max(there.shape), np.bool_)
    return enlarge_mask(near, factor, (region.shape[1], region.shape[0]))
