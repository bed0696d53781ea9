"""Conversion between colour profiles, through LittleCMS.

LittleCMS is bound by imagecodecs, which hands it 8-bit, 16-bit and float arrays.
"""

from collections.abc import Callable

import numpy as np

from blendkit.errors import InputError, out_of_memory
from blendkit.files import profiles
from blendkit.frame import Float

INTENTS = {"perceptual": 0, "relative": 1, "saturation": 2, "absolute": 3}
"""Rendering intents by name (ICC.1:2022, 7.2.15)."""

_PIXELS_AT_ONCE = 1 << 20
_BLACK_POINT = 0x2000  # cmsFLAGS_BLACKPOINTCOMPENSATION
_UNSTORED = 0x0040  # cmsFLAGS_NOCACHE: the one-pixel cache is of no use on photographs


def convert(
    pixels: Float,
    source: bytes,
    target: bytes,
    *,
    intent: str = "relative",
    black_point_compensation: bool = False,
    name: str = "picture",
) -> None:
    """Convert pixels from one profile's encoding to another's, in place.

    Parameters
    ----------
    pixels : float32 (height, width, 3), in the encoding of `source`; 1.0 = its white.
    source, target : ICC profiles of RGB colours.
    intent : one of INTENTS.
    black_point_compensation : scale so that black meets black.
    name : how messages call the picture.

    Raises
    ------
    InputError : LittleCMS cannot use one of the profiles.
    """
    flags = _BLACK_POINT if black_point_compensation else 0
    rows = max(1, _PIXELS_AT_ONCE // pixels.shape[1])
    for top in range(0, len(pixels), rows):
        part = pixels[top : top + rows]
        part[...] = to_space(part, source, target, intent=intent, flags=flags, name=name)


def to_space(
    pixels: Float,
    source: bytes,
    target: bytes,
    *,
    space: str = "rgb",
    intent: str = "relative",
    flags: int = 0,
    name: str = "picture",
) -> Float:
    """Return RGB pixels in the colour space of `target`: "rgb", or "lab" with L from 0 to 100."""
    import imagecodecs  # noqa: PLC0415 - loaded when a conversion is wanted

    try:
        out = imagecodecs.cms_transform(
            np.ascontiguousarray(pixels),
            source,
            target,
            colorspace="rgb",
            outcolorspace=space,
            outdtype="float32",
            intent=INTENTS[intent],
            flags=flags | _UNSTORED,
        )
    except Exception as error:
        if out_of_memory(error):
            raise
        raise InputError(
            f"{name}: its colour profile cannot be converted ({error}); "
            "save the picture again with a standard RGB profile"
        ) from error
    return np.asarray(out, dtype=np.float32)


def between(source: bytes, target: bytes) -> Callable[[Float], None]:
    """Return a function that takes linear light of one matrix profile to another's, in place.

    Colours outside the target's gamut are cut off at zero, as its integer encoding would; light
    above white stays.
    """
    first, second = profiles.linear_twin(source), profiles.linear_twin(target)

    def apply(pixels: Float) -> None:
        convert(pixels, first, second)
        np.maximum(pixels, 0.0, out=pixels)

    return apply
