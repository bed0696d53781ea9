"""Writing PNG and JPEG with profile, resolution, Exif and XMP.

References
----------
.. [1] W3C Portable Network Graphics (PNG) Specification, third edition: 5.3 (chunks), 11.3
   (iCCP, pHYs, eXIf, iTXt).
"""

import struct
import zlib
from pathlib import Path
from typing import Any

from numpy.typing import NDArray

from blendkit.errors import InputError
from blendkit.files import ifd, xmp
from blendkit.files.encode_tiff import Attached

_INCHES_PER_METRE = 1 / 0.0254
_HEADER_END = 8 + 25  # signature, then IHDR: length, name, 13 bytes, sum
_MOST_IN_SEGMENT = 65_500  # a JPEG marker segment ends at 65535
_MOST_SIDE_PX = 65_500
"""Longest side of a JPEG that the IJG library writes."""
JPEG = (".jpg", ".jpeg")


def write_png(path: Path, codes: NDArray[Any], attached: Attached) -> None:
    """Write a PNG of 8 or 16 bits: grey (height, width) or RGB (height, width, 3)."""
    import imagecodecs  # noqa: PLC0415 - loaded when a PNG is written

    plain = imagecodecs.png_encode(codes, level=2)  # grain does not pack; be quick
    with path.open("wb") as stream:
        stream.write(plain[:_HEADER_END])
        for name, body in _chunks(attached):
            stream.write(struct.pack(">I", len(body)) + name + body)
            stream.write(struct.pack(">I", zlib.crc32(name + body)))
        stream.write(plain[_HEADER_END:])


def _chunks(attached: Attached) -> list[tuple[bytes, bytes]]:
    """Return the chunks between header and pixels ([1]_, 5.6: profile and size come first)."""
    per_metre = [round(dpi * _INCHES_PER_METRE) for dpi in attached.resolution_dpi]
    chunks = [(b"pHYs", struct.pack(">IIB", *per_metre, 1))]
    if attached.profile:
        chunks.append((b"iCCP", b"icc\0\0" + zlib.compress(attached.profile)))
    if attached.directory:
        chunks.append((b"eXIf", ifd.dump_block(attached.directory)))
    if attached.xmp:
        chunks.append((b"iTXt", b"XML:com.adobe.xmp\0\0\0\0\0" + attached.xmp))
    return chunks


def check_sides(path: Path, size: tuple[int, int]) -> None:
    """Raise InputError if a picture of this (width, height), px, is too large for its kind of file.

    To be asked before the work whose end it is.
    """
    if path.suffix.lower() in JPEG and max(size) > _MOST_SIDE_PX:
        raise InputError(
            f"{path}: has {size[0]} x {size[1]} px, and a JPEG at most {_MOST_SIDE_PX} a side; "
            "choose TIFF, or a smaller size"
        )


def fitting(attached: Attached) -> dict[str, bool]:
    """Return whether Exif and XMP, as far as there are any, go into a JPEG's segments."""
    return {
        "Exif": len(_exif(attached)) < _MOST_IN_SEGMENT,
        "XMP": len(attached.xmp or b"") < _MOST_IN_SEGMENT,
    }


def too_large(attached: Attached) -> tuple[str, ...]:
    """Return a clause for each thing that a JPEG has no room for."""
    left = (what for what, fits in fitting(attached).items() if not fits)
    return tuple(f"its {what} is larger than a JPEG can hold and is left out" for what in left)


def _exif(attached: Attached) -> bytes:
    return b"Exif\0\0" + ifd.dump_block(attached.directory) if attached.directory else b""


def write_jpeg(
    path: Path, codes: NDArray[Any], attached: Attached, *, quality: int, subsampling: str
) -> None:
    """Write a JPEG from uint8 codes (height, width) or (height, width, 3).

    Parameters
    ----------
    quality : 1 to 100, the scale of the IJG library.
    subsampling : "4:4:4", "4:2:2" or "4:2:0".
    """
    from PIL import Image  # noqa: PLC0415 - loaded when a JPEG is written

    fits = fitting(attached)
    extras: dict[str, Any] = {}
    if attached.directory and fits["Exif"]:
        extras["exif"] = _exif(attached)
    packet = attached.xmp
    if packet and not fits["XMP"]:  # what was made by a merge says so in any case
        packet = xmp.without_others(packet)
    if packet:
        extras["xmp"] = packet
    Image.fromarray(codes).save(
        path,
        format="JPEG",
        quality=quality,
        subsampling=subsampling,
        icc_profile=attached.profile,
        dpi=attached.resolution_dpi,
        **extras,
    )
