"""Depth of field: the one interval of distances that a frame holds sharp.

"Sharp" means a blur disc no larger than the circle of confusion.  The limits are exact for the
thin lens; most handbooks drop terms of the order f/s.
"""

from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike

from blendkit.optics.checks import MM_PER_M, Values, inverse_distance, positive

NEGLIGIBLE = 1e-12
"""A reciprocal distance below this share of the focus distance's own is infinity with rounding."""


class Depth(NamedTuple):
    """Near and far limit of sharpness in m; far_m is inf where nothing far is soft."""

    near_m: Values
    far_m: Values


def hyperfocal_m(*, focal_length_mm: ArrayLike, f_number: ArrayLike, coc_mm: ArrayLike) -> Values:
    """Return the nearest focus distance in m that still holds infinity, H = f^2 / (N c) + f.

    >>> round(float(hyperfocal_m(focal_length_mm=50, f_number=8, coc_mm=0.03)), 3)
    10.467
    """
    focal = positive("focal_length_mm", focal_length_mm)
    slope = positive("f_number", f_number) * positive("coc_mm", coc_mm)
    return np.asarray((focal**2 / slope + focal) / MM_PER_M)


def depth_of_field(
    focus_distance_m: ArrayLike,
    *,
    focal_length_mm: ArrayLike,
    f_number: ArrayLike,
    coc_mm: ArrayLike,
) -> Depth:
    """Return the limits between which the blur disc stays within the circle of confusion.

    near = s(H - f)/(H + s - 2f), far = s(H - f)/(H - s), in reciprocal distances.

    Raises
    ------
    InputError
        A number that is not above 0, or a focus distance inside the focal length.

    Examples
    --------
    >>> near, far = depth_of_field(4, focal_length_mm=135, f_number=16, coc_mm=0.0288)
    >>> round(float(near), 2), round(float(far), 2)
    (3.64, 4.43)
    """
    focal = positive("focal_length_mm", focal_length_mm)
    inverse = inverse_distance("focus_distance_m", focus_distance_m, focal)
    slope = positive("f_number", f_number) * positive("coc_mm", coc_mm) / focal**2
    margin = slope * (1.0 - focal * inverse)
    far = inverse - margin
    reaches = far > NEGLIGIBLE * inverse
    far_mm = np.divide(1.0, far, out=np.full(far.shape, np.inf), where=reaches)
    return Depth(np.asarray(1.0 / (inverse + margin) / MM_PER_M), far_mm / MM_PER_M)


def focus_between_m(near_m: ArrayLike, far_m: ArrayLike) -> Values:
    """Return the focus distance in m that blurs two distances equally, 2 D1 D2 / (D1 + D2).

    >>> round(float(focus_between_m(2.2, 4)), 2)
    2.84
    """
    return np.asarray(2.0 / (1.0 / positive("near_m", near_m) + 1.0 / positive("far_m", far_m)))
