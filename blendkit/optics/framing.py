"""What the frame shows: angles of view, the width covered at a distance, natural fall-off."""

import numpy as np
from numpy.typing import ArrayLike

from blendkit.optics.checks import MM_PER_M, Values, positive
from blendkit.optics.thin_lens import image_scale


def field_of_view_deg(
    side_mm: ArrayLike, *, focal_length_mm: ArrayLike, magnification: ArrayLike = 0.0
) -> Values:
    """Return the angle that a side (or the diagonal) of the sensor sees, 2 atan(X / (2f(1 + m))).

    >>> field_of_view_deg([36, 24], focal_length_mm=50).round(1)
    array([39.6, 27. ])
    """
    extension = positive("focal_length_mm", focal_length_mm) * (1 + np.asarray(magnification))
    return np.asarray(np.degrees(2 * np.arctan(positive("side_mm", side_mm) / (2 * extension))))


def covered_m(
    distance_m: ArrayLike,
    *,
    side_mm: ArrayLike,
    focal_length_mm: ArrayLike,
    focus_distance_m: ArrayLike,
) -> Values:
    """Return the length in m that a side of the sensor covers at a distance (inf at infinity)."""
    scale = image_scale(
        distance_m, focal_length_mm=focal_length_mm, focus_distance_m=focus_distance_m
    )
    side_m = positive("side_mm", side_mm) / MM_PER_M
    shape = np.broadcast_shapes(side_m.shape, scale.shape)
    covered = np.divide(side_m, scale, out=np.full(shape, np.inf), where=scale > 0)
    return np.asarray(covered)


def natural_falloff(height_mm: ArrayLike, *, focal_length_mm: ArrayLike) -> Values:
    """Return the light left at an image height, cos^4 of its angle; equal at every f-number.

    >>> round(float(natural_falloff(21.63, focal_length_mm=85)), 3)
    0.882
    """
    slope = np.asarray(height_mm, dtype=np.float64) / positive("focal_length_mm", focal_length_mm)
    return np.asarray((1 + slope**2) ** -2.0)
