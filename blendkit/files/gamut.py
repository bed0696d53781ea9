"""How much of a picture lies outside the colours of a profile.

References
----------
.. [1] ISO/CIE 11664-6:2022, colour difference CIEDE2000.
"""

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from blendkit.files import convert, profiles
from blendkit.frame import Float

VISIBLE = 1.0
"""Colour difference from which a pixel counts as outside: about one just-noticeable step."""

_ROUNDING = 1e-3  # of white: what is nearer to the gamut's edge is taken as inside
_PIXELS_AT_ONCE = 1 << 20


@dataclass(frozen=True, slots=True)
class Gamut:
    """What a conversion to a profile cannot keep.

    share: of the pixels that change visibly; largest: CIEDE2000 difference of the worst one.
    """

    share: float
    largest: float


def outside(pixels: Float, source: bytes, target: bytes, *, name: str = "picture") -> Gamut:
    """Compare a picture with what is left of it in another profile, colorimetrically.

    Parameters
    ----------
    pixels : float32 (height, width, 3), linear light of the matrix profile `source`.
    source, target : ICC profiles.
    name : how messages call the picture.
    """
    flat = pixels.reshape(-1, 3)
    linear = profiles.linear_twin(source)
    count, largest = 0, 0.0
    for start in range(0, len(flat), _PIXELS_AT_ONCE):
        part = _candidates(flat[start : start + _PIXELS_AT_ONCE], linear, target, name)
        if len(part):
            apart = _differences(part, linear, target, name)
            count += int(np.count_nonzero(apart > VISIBLE))
            largest = max(largest, float(apart.max()))
    return Gamut(count / len(flat), largest)


def _candidates(part: Float, linear: bytes, target: bytes, name: str) -> Float:
    """Return the pixels that may lie outside: of a matrix profile those that leave 0 to 1."""
    if not profiles.parse(target, name).curves:
        return part
    there = part[None].copy()
    convert.convert(there, linear, profiles.linear_twin(target), name=name)
    leaves = ((there[0] < -_ROUNDING) | (there[0] > 1 + _ROUNDING)).any(axis=1)
    return np.asarray(part[leaves])


def _differences(part: Float, linear: bytes, target: bytes, name: str) -> NDArray[np.float64]:
    from skimage.color import deltaE_ciede2000  # noqa: PLC0415 - slow to load

    there = part[None].copy()
    convert.convert(there, linear, target, name=name)
    kept = convert.to_space(np.clip(there, 0, 1), target, _lab(), space="lab", name=name)
    wanted = convert.to_space(part[None], linear, _lab(), space="lab", name=name)
    apart: NDArray[np.float64] = deltaE_ciede2000(wanted, kept)[0]
    return apart


@lru_cache(maxsize=1)
def _lab() -> bytes:
    from PIL import ImageCms  # noqa: PLC0415 - loaded when a delivery is made

    return ImageCms.ImageCmsProfile(ImageCms.createProfile("LAB")).tobytes()
