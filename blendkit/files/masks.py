"""Reading masks, mattes and label pictures: plain greyscale of the background frame's size."""

from pathlib import Path

import numpy as np

from blendkit.errors import InputError
from blendkit.files.decoded import Codes, Decoded
from blendkit.files.orient import as_stored
from blendkit.files.read import open_picture
from blendkit.frame import Float, Label
from blendkit.memory import unwritten


def read_mask(path: Path | str, *, size: tuple[int, int]) -> Float:
    """Read a mask or matte.

    Parameters
    ----------
    path : 8- or 16-bit greyscale TIFF, PNG or JPEG; a grey picture stored as RGB passes too.
    size : (width, height) of the background frame, px.

    Returns
    -------
    float32 (height, width), 0 = black to 1 = white, without any curve.

    Raises
    ------
    InputError : another size, colours, or not a picture.
    """
    source = Path(path)
    decoded = open_picture(source)
    if decoded.bits == 32:
        raise InputError(f"{source.name}: a mask has 8 or 16 bits; save it as 16-bit greyscale")
    codes = _grey(decoded, source.name)
    if codes.shape[::-1] != tuple(size):
        raise InputError(
            f"{source.name}: is {codes.shape[1]} x {codes.shape[0]} px but the background frame "
            f"is {size[0]} x {size[1]}; paint the mask over the background frame"
        )
    mask = unwritten(codes.shape)  # most of a mask is black
    np.divide(codes, np.float32(decoded.top), out=mask, where=codes > 0, dtype=np.float32)
    return mask


def read_labels(path: Path | str) -> Label:
    """Read a label picture: uint8 (height, width), from an 8-bit greyscale PNG or TIFF."""
    source = Path(path)
    decoded = open_picture(source)
    if decoded.bits != 8 or decoded.channels != 1:
        raise InputError(f"{source.name}: labels are an 8-bit greyscale picture; write them again")
    return _grey(decoded, source.name).astype(np.uint8)


def _grey(decoded: Decoded, name: str) -> Codes:
    """Return the codes of a grey picture, upright."""
    width, height = decoded.size
    turned = decoded.orientation >= 5
    upright = np.zeros((width, height) if turned else (height, width), np.uint16)
    stored = as_stored(upright, decoded.orientation)
    for top, left, channel, codes in decoded.blocks():
        place = stored[top : top + codes.shape[0], left : left + codes.shape[1]]
        if channel == 0:
            place[...] = codes[..., 0]
        if any(not np.array_equal(codes[..., k], place) for k in range(codes.shape[-1])):
            raise InputError(f"{name}: has colours; a mask is greyscale: save it without colour")
    return decoded.top - upright if decoded.inverted else upright
