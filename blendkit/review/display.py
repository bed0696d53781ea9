"""A file's values as 8-bit sRGB for the screen, through the file's own profile."""

from collections.abc import Callable
from functools import lru_cache
from typing import Any

import numpy as np
from numpy.typing import NDArray

from blendkit.files import curves, profiles
from blendkit.files.decoded import Codes, Decoded
from blendkit.files.profiles import Profile
from blendkit.files.read import profile_of
from blendkit.frame import Float, Label

_TOPS = {8: 255, 16: 65535}
_SAME = 1.5 / 255


def converter(decoded: Decoded, name: str) -> Callable[[Codes], Label]:
    """Return a function from a file's codes (rows, columns, channels) to sRGB, uint8 (.., .., 3).

    Grey stays grey; light above white is cut off at white.

    Raises
    ------
    InputError : the file's profile cannot be used.
    """
    own, _ = profile_of(decoded, name)
    to_display = _from_grey(own) if decoded.channels == 1 else _from_colours(own)

    def convert(codes: Codes) -> Label:
        if decoded.inverted:
            codes = (decoded.top - codes).astype(codes.dtype)
        if decoded.bits == 32:
            codes = np.rint(np.clip(codes, 0, 1) * 65535).astype(np.uint16)
        return to_display(np.ascontiguousarray(codes))

    return convert


def encoded_for_screen(pixels: Float, profile: bytes | None) -> Label:
    """Return linear pixels (height, width, 3) of a profile as sRGB, uint8."""
    own = profiles.parse(profile or profiles.srgb())
    out = np.empty(pixels.shape, np.uint16)
    for channel in range(3):
        tone = own.curves[channel % len(own.curves)]
        out[..., channel] = np.rint(np.clip(tone.encode(pixels[..., channel]), 0, 1) * 65535)
    return _from_colours(own)(out)


def _from_grey(own: Profile) -> Callable[[Codes], Label]:
    def convert(codes: Codes) -> Label:
        grey = _grey_table(own.data if own.space == "GRAY" else None, _top(codes)).take(codes)
        return np.repeat(grey.reshape(*grey.shape[:2], 1), 3, axis=2)

    return convert


@lru_cache(maxsize=8)
def _grey_table(profile: bytes | None, top: int) -> Label:
    if profile is None:
        return np.asarray(np.rint(np.arange(top + 1) * (255 / top)), np.uint8)
    light = profiles.parse(profile).curves[0].table(top)
    return np.asarray(np.rint(np.clip(curves.SRGB.encode(light), 0, 1) * 255), np.uint8)


def _from_colours(own: Profile) -> Callable[[Codes], Label]:
    if _is_srgb(own.data):
        return lambda codes: _grey_table(None, _top(codes)).take(codes)
    return lambda codes: _transformed(codes, own.data, np.uint8)


def _top(codes: Codes) -> int:
    return _TOPS[8 * codes.dtype.itemsize]


def _transformed(codes: Codes, profile: bytes, kind: Any) -> NDArray[Any]:
    import imagecodecs  # noqa: PLC0415 - loaded when a conversion is wanted

    return np.asarray(
        imagecodecs.cms_transform(
            codes, profile, profiles.srgb(), colorspace="rgb", outcolorspace="rgb", outdtype=kind
        )
    )


@lru_cache(maxsize=32)
def _is_srgb(profile: bytes) -> bool:
    """Whether a profile shows the same as sRGB to within one and a half 8-bit codes."""
    if profile == profiles.srgb():
        return True
    steps = np.rint(np.linspace(0, 65535, 9)).astype(np.uint16)
    cube = np.stack(np.meshgrid(steps, steps, steps), -1).reshape(1, -1, 3)
    shown = _transformed(np.ascontiguousarray(cube), profile, np.uint16)
    return bool(np.abs(shown / 65535 - cube / 65535).max() < _SAME)
