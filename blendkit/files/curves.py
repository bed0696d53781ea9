"""Tone curves of colour profiles: from the file's values to linear light and back.

Decoding integer values is one table look-up.  Encoding interpolates in a table whose steps are
even in the *logarithm* of light, so that shadows keep their precision: the leading bits of a
float32 (exponent and twelve bits of mantissa) are the index, the other bits the fraction.

References
----------
.. [1] ICC.1:2022, Image technology colour management, 10.6 (curveType), 10.18
   (parametricCurveType).
.. [2] IEC 61966-2-1:1999, the sRGB transfer function.
"""

from collections.abc import Callable
from dataclasses import dataclass
from functools import cached_property, lru_cache

import numpy as np
from numpy.typing import NDArray

from blendkit.frame import Float

Values = NDArray[np.float64]

_SHIFT = 11  # float32 has 23 bits of mantissa: twelve index the table, eleven interpolate
_LOWEST = np.float32(2.0**-40)
HIGHEST = 65536.0
"""Largest value that is read from float files and encoded, in units of white."""
# Encoded values at which a curve is inverted: every 16-bit code, and for the sake of float files
# finer steps near black and on above white.
_GRID = np.union1d(
    np.concatenate([np.geomspace(1e-9, 0.02, 4000), np.geomspace(1, 65536, 4000)]),
    np.arange(1, 65536) / 65535,
)


@dataclass(frozen=True, eq=False)
class Curve:
    """A rising tone curve on 0 to 1.

    decode: function of float64 values in the file's encoding, 0 to 1 and above, to linear light.
    """

    decode: Callable[[Values], Values]

    def to_linear(self, values: Float) -> Float:
        """Return linear light for float values; above 1 it goes on, below 0 it is mirrored."""
        light = self.decode(np.abs(values).astype(np.float64))
        return np.copysign(light, values).astype(np.float32)

    @lru_cache(maxsize=4)  # noqa: B019 - a handful of curves live as long as the process
    def table(self, top: int) -> Float:
        """Return linear light of the integer codes 0..top, float32 (top + 1,)."""
        return self.decode(np.arange(top + 1) / top).astype(np.float32)

    def encode(self, linear: Float) -> Float:
        """Return the encoding (0 to 1, and above in step) of linear light, float32."""
        size = np.clip(np.abs(linear), _LOWEST, np.float32(HIGHEST))
        bits = size.view(np.int32)
        index = (bits >> _SHIFT) - _first_index()
        share = (bits & ((1 << _SHIFT) - 1)).astype(np.float32) * np.float32(2.0**-_SHIFT)
        nodes, steps = self._inverse
        encoded = nodes.take(index)
        encoded += share * steps.take(index)
        encoded[size <= _LOWEST] = 0.0
        return np.copysign(encoded, linear)

    @cached_property
    def _inverse(self) -> tuple[Float, Float]:
        """Encoded value at every node of linear light, and the step to the next node."""
        first, last = _first_index(), int(np.float32(HIGHEST).view(np.int32)) >> _SHIFT
        nodes = (np.arange(first, last + 2, dtype=np.int32) << _SHIFT).view(np.float32)
        light = np.maximum.accumulate(self.decode(_GRID))
        # A flat foot is left at its end, a flat top (or what lies above it) joins its beginning.
        rising = np.diff(light, append=np.inf) > 0
        rising[np.searchsorted(light, light[-1]) :] = False
        rising[np.searchsorted(light, light[-1])] = True
        encoded = np.interp(nodes.astype(np.float64), light[rising], _GRID[rising])
        return encoded[:-1].astype(np.float32), np.diff(encoded).astype(np.float32)


def _first_index() -> int:
    return int(_LOWEST.view(np.int32)) >> _SHIFT


def gamma(exponent: float) -> Curve:
    """Return the curve y = x ** exponent."""
    return Curve(lambda x: np.power(x, exponent))


def sampled(nodes: Values) -> Curve:
    """Return the curve through evenly spaced nodes, straight between them ([1]_, 10.6).

    Above white it goes on as steeply as it ends.
    """
    places = np.linspace(0.0, 1.0, len(nodes))
    slope = (nodes[-1] - nodes[-2]) * (len(nodes) - 1)
    return Curve(lambda x: np.interp(x, places, nodes) + slope * np.maximum(x - 1.0, 0.0))


def parametric(kind: int, p: tuple[float, ...]) -> Curve:
    """Return the curve of function type `kind` (0 to 4) with parameters p = g, a, b, c, d, e, f.

    Written as in [1]_, table 68: a power above a break, straight or constant below it.
    """
    g = p[0]
    a, b = (p[1], p[2]) if kind else (1.0, 0.0)
    if kind == 0:
        c, d, e, f = 0.0, -1.0, 0.0, 0.0
    elif kind in (1, 2):
        shift = p[3] if kind == 2 else 0.0
        c, d, e, f = 0.0, -b / a if a else 0.0, shift, shift
    else:
        c, d = p[3], p[4]
        e, f = (p[5], p[6]) if kind == 4 else (0.0, 0.0)
    # A base below zero would be a broken profile.
    return Curve(lambda x: np.where(x >= d, np.power(np.maximum(a * x + b, 0.0), g) + e, c * x + f))


SRGB = parametric(3, (2.4, 1 / 1.055, 0.055 / 1.055, 1 / 12.92, 0.04045))
"""The sRGB curve ([2]_).

>>> SRGB.table(255)[[1, 128, 255]].round(6).tolist()
[0.00030399998649954796, 0.21586100757122040, 1.0]
"""
LINEAR = gamma(1.0)
"""The curve of files that hold linear light."""
