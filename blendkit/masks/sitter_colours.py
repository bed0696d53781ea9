"""Colours that lie around the sitter and not on her: even sky between an arm and the waist.

Her zone is drawn wide, since what of her changes costs more than what is kept beside her.  Where a
bough must end before her, the outline is wanted itself, and there the colours of this very picture
say what neither blur nor edges can: a pocket of sky inside her zone looks like the sky outside.
"""

import cv2
import numpy as np

from blendkit.filters.bands import gaussian
from blendkit.filters.circles import round_kernel
from blendkit.frame import Bool, Float
from blendkit.masks.evidence import colour_bins, colour_density, exposure_scale

_SURE = 0.5
_AROUND_SHARE = 0.05
"""How far around her zone colours are asked for, of the long side."""
_FLOOR = 1e-5
_UNLIKE = 1.5
"""Log ratio of the densities of both colours from which a place is not hers.  On six simulated
pairs 1.5 leaves open three quarters of the boughs beside her and takes up to 1 % of a veiled
dress from her; with 3, half of it and a third."""
_LEAST_PX = 200


def unlike_her(picture: Float, chance: Float, zone: Bool) -> Bool:
    """Return what looks like the surroundings of a sitter's zone and unlike her.

    Parameters
    ----------
    picture : ndarray
        The background frame at working size, float32 (height, width, 3), linear.
    chance : ndarray
        How likely each place is hers, float32 (height, width), from `network.focus_zone`.
    zone : ndarray
        bool (height, width), drawn wide.

    Returns
    -------
    ndarray
        bool (height, width); nothing where too little of either is known.
    """
    hers = zone & (chance > _SURE)
    reach = round_kernel(round(_AROUND_SHARE * max(zone.shape)))
    around = (cv2.dilate(zone.astype(np.uint8), reach) > 0) & ~zone
    if min(np.count_nonzero(hers), np.count_nonzero(around)) < _LEAST_PX:
        return np.zeros_like(zone)
    bins = colour_bins(picture, exposure_scale(picture))
    there, here = (colour_density(bins, where) + _FLOOR for where in (around, hers))
    votes = np.log(there / here).astype(np.float32)[bins]
    return np.asarray(gaussian(votes, 1.0) > _UNLIKE, np.bool_)
