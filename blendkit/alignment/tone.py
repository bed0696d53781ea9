"""A rendered file's tone curve, as a family of two numbers.

A camera's rendering is not undone by the ICC profile.  With u and v the square roots of rendered
and of linear light, which are about evenly spaced to the eye, the family is a straight line between
their log-odds:  logit(u) = (1 + contrast) logit(v) + lift.  That is the sigmoid by which both film
(density over log exposure) and the eye (Naka & Rushton 1966, J. Physiol. 185, from memory) are
described; it keeps black and white and comes within 0.04 EV of usual picture styles from 2 % of
white up.  Two numbers are what a pair can tell: polynomials and splines bent where a veil lay or
where a tone was hardly seen.
"""

from typing import NamedTuple, TypeVar

import numpy as np
from numpy.typing import NDArray

Values = TypeVar("Values", NDArray[np.float32], NDArray[np.float64])
"""Light or rendered values of one precision, any shape, 1 = white."""

_DARKEST = np.float32(1e-9)
_NEAREST_WHITE = np.float32(1 - 1e-5)


class ToneCurve(NamedTuple):
    """How light is rendered: contrast added (0: none) and middle tones lifted, in log-odds."""

    contrast: float = 0.0
    lift: float = 0.0

    @property
    def bends(self) -> bool:
        """Whether it changes anything."""
        return self != NO_CURVE


NO_CURVE = ToneCurve()


def straightened(rendered: Values, curve: ToneCurve) -> Values:
    """Return the linear light of rendered values; any shape; 1 and more stay.

    Examples
    --------
    >>> straightened(np.array([0.25, 1.0], np.float32), ToneCurve(0.2, 0.3)).round(3)
    array([0.192, 1.   ], dtype=float32)
    """
    if not curve.bends:
        return rendered
    power = 1 / (1 + curve.contrast)
    odds = (_odds(rendered) * np.float32(np.exp(-curve.lift))) ** np.float32(power)
    return np.where(rendered < _NEAREST_WHITE, np.square(odds / (1 + odds)), rendered)


def rendered(light: Values, curve: ToneCurve) -> Values:
    """Return linear light as the curve renders it: the inverse of `straightened`.

    Examples
    --------
    >>> rendered(np.array([0.192, 1.0], np.float32), ToneCurve(0.2, 0.3)).round(3)
    array([0.25, 1.  ], dtype=float32)
    """
    if not curve.bends:
        return light
    odds = _odds(light) ** np.float32(1 + curve.contrast) * np.float32(np.exp(curve.lift))
    return np.where(light < _NEAREST_WHITE, np.square(odds / (1 + odds)), light)


def steepness(values: Values, curve: ToneCurve) -> Values:
    """Return by how much more EV linear light differs than rendered values do, at such values."""
    if not curve.bends:
        return np.ones_like(values)
    root = np.sqrt(np.clip(values, _DARKEST, _NEAREST_WHITE))
    straight = np.sqrt(straightened(np.square(root), curve))
    return np.asarray((1 - straight) / ((1 - root) * (1 + curve.contrast)), values.dtype)


def _odds(values: Values) -> Values:
    root = np.sqrt(np.clip(values, _DARKEST, _NEAREST_WHITE))
    return np.asarray(root / (1 - root), values.dtype)
