"""From linear light back to the values of a file."""

from concurrent.futures import ThreadPoolExecutor
from typing import Any

import numpy as np
from numpy.typing import NDArray

from blendkit.errors import InputError
from blendkit.files import profiles
from blendkit.files.curves import Curve
from blendkit.frame import Float

_TYPES: dict[int, type[np.generic]] = {8: np.uint8, 16: np.uint16, 32: np.float32}
_ROWS_AT_ONCE = 64


def encoded(pixels: Float, profile: bytes, bits: int) -> NDArray[Any]:
    """Return pixels encoded by the curves of a matrix profile.

    Parameters
    ----------
    pixels : float32 (height, width, 3), linear; integer files clip at 0 and 1.
    profile : ICC profile with tone curves.
    bits : 8, 16 or 32 (float).
    """
    tones = profiles.parse(profile).curves
    if len(tones) != 3:
        raise InputError("the profile has no tone curves to encode by; use a matrix RGB profile")
    codes = np.empty(pixels.shape, _TYPES[bits])

    def encode_rows(top: int) -> None:
        rows = slice(top, top + _ROWS_AT_ONCE)
        codes[rows] = _encoded(pixels[rows], tones, bits)

    with ThreadPoolExecutor(max_workers=2) as pool:
        list(pool.map(encode_rows, range(0, len(pixels), _ROWS_AT_ONCE)))
    return codes


def quantised(values: Float, bits: int) -> NDArray[Any]:
    """Return values 0 to 1 as codes of 8 or 16 bits; 32 leaves them as float32."""
    if bits == 32:
        return values.astype(np.float32)
    top = np.float32((1 << bits) - 1)
    codes: NDArray[Any] = np.rint(np.clip(values, 0.0, 1.0) * top).astype(_TYPES[bits])
    return codes


def _encoded(part: Float, tones: tuple[Curve, ...], bits: int) -> NDArray[Any]:
    part = np.ascontiguousarray(part, dtype=np.float32)
    if len(set(tones)) == 1:
        return quantised(tones[0].encode(part), bits)
    channels = [tones[index].encode(part[..., index].copy()) for index in range(3)]
    return quantised(np.stack(channels, axis=-1), bits)
