"""Follows the background where the sitter took another pose between the frames.

The fit follows the zone in focus, which is the sitter, and by a little sway that is right.  A
sitter who moved by more takes the frames apart: nothing of her is ever taken from the foreground
frame, while its boughs and its background must lie on those of the background frame.
"""

from dataclasses import replace

import numpy as np

from blendkit.alignment import Alignment, Motion
from blendkit.alignment.level import shift_by
from blendkit.alignment.local import with_local_motion
from blendkit.alignment.warp import warp_to_background
from blendkit.filters.detail import detailed_in_both, displacement_px
from blendkit.filters.resample import matrix_at_reduced_scale, reduce_by
from blendkit.frame import Float, luminance

_WORKING_PX = 640
_BAND_PX = (4.0, 12.0)
"""Coarse enough to live through the background's blur: discs to some 40 px at 1200 px width."""
_LEAST_SHARE = 1 / 300
"""Displacement from which it is a pose, not sway, of the long side: 4 px of 1200."""

_SHIFT_ERROR_PX = 0.7
"""Error of a displacement in the working picture, where the finer fit to the background fails."""


def following_background(background: Float, foreground: Float, found: Alignment) -> Alignment:
    """Return the alignment with the background in place, if the sitter moved away from it.

    Parameters
    ----------
    background, foreground : ndarray
        Linear light, float32 (height, width, 3), as they were aligned.
    found : Alignment
        What follows the zone in focus.

    Returns
    -------
    Alignment
        As found where background and sitter agree, or where it cannot be told.
    """
    height, width = background.shape[:2]
    factor = max(round(max(height, width) / _WORKING_PX), 1)
    one, other = reduce_by(background, factor), reduce_by(foreground, factor)
    matrix = matrix_at_reduced_scale(found.matrix, factor)
    moved = warp_to_background(other, matrix, (one.shape[1], one.shape[0]))
    zone = detailed_in_both(one, moved.pixels)
    if not zone.any():
        return found
    shift = displacement_px(one, moved.pixels, moved.footprint & ~zone, _BAND_PX)
    if shift is None or np.hypot(*shift) * factor < _LEAST_SHARE * max(height, width):
        return found
    moved_along = replace(
        found,
        matrix=np.asarray(found.matrix @ shift_by(*np.multiply(shift, factor))),
        # What moved, and how sure that is, was measured against the matrix that is given up here.
        uncertainty_px=0.0,
        behind=None,
        sway_px=None,
        parallax_px=None,
    )
    near = with_local_motion(luminance(background), luminance(foreground), moved_along)
    if near.behind is not None:
        return _all_the_way(near, near.behind)
    return replace(near, uncertainty_px=max(found.uncertainty_px, _SHIFT_ERROR_PX * factor))


def _all_the_way(found: Alignment, left: Motion) -> Alignment:
    """Return the alignment with what is left of the background's motion taken in, too."""
    return replace(
        found,
        matrix=np.asarray(found.matrix @ shift_by(left.x_px, left.y_px)),
        uncertainty_px=left.uncertainty_px,
        behind=Motion(0.0, 0.0, left.uncertainty_px),
        sway_px=None,
        parallax_px=None,
    )
