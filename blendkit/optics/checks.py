"""What every optical formula asks of its numbers before it uses them."""

import numpy as np
from numpy.typing import ArrayLike, NDArray

from blendkit.errors import InputError

Values = NDArray[np.float64]
"""float64, scalar or array; arguments broadcast against each other."""

MM_PER_M = 1000.0


def positive(name: str, values: ArrayLike) -> Values:
    """Return the values as float64, or raise InputError for the first one not above zero."""
    array = np.asarray(values, dtype=np.float64)
    wrong = ~(array > 0)
    if wrong.any():
        raise InputError(f"{name} = {array[wrong].flat[0]:g}: allowed is any number above 0")
    return array


def not_negative(name: str, values: ArrayLike) -> Values:
    """Return the values as float64, or raise InputError for the first one below zero or NaN."""
    array = np.asarray(values, dtype=np.float64)
    wrong = ~(array >= 0)
    if wrong.any():
        raise InputError(f"{name} = {array[wrong].flat[0]:g}: allowed is 0 or more")
    return array


def inverse_distance(name: str, distance_m: ArrayLike, focal_length_mm: Values) -> Values:
    """Return 1/distance in 1/mm (0 for infinity), or raise InputError inside the focal length."""
    distance_mm = positive(name, distance_m) * MM_PER_M
    inside = ~(distance_mm > focal_length_mm)
    if inside.any():
        short = np.broadcast_to(distance_mm, inside.shape)[inside].flat[0]
        focal = np.broadcast_to(focal_length_mm, inside.shape)[inside].flat[0]
        raise InputError(
            f"{name} = {short / MM_PER_M:g} m: must lie beyond the focal length of {focal:g} mm"
        )
    return np.asarray(1.0 / distance_mm)
