"""Writing TIFF by tifffile, and the Exif directory that it does not write.

tifffile writes no tags that point to directories.  So once it has written the pixels, the first
page's directory is written anew at the end of the file, with the Exif and GPS directories behind
it, and the header is led to it.  All that happens in the temporary file.
"""

import struct
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from numpy.typing import NDArray

from blendkit.files import ifd
from blendkit.files.ifd import Directory

BIG_FROM_BYTES = 4_000_000_000
"""From this many bytes of pixels on, a file is a BigTIFF (classic offsets end at 2^32)."""

_XMP = 700
_ROWS_PER_STRIP = 64
_DEFLATE_LEVEL = 1
"""The quickest: grain does not repeat itself, and a photograph of 16 bits came out 2 % smaller than
at level 5, in six tenths of the time."""


@dataclass(frozen=True, slots=True)
class Attached:
    """What goes into a file besides its pixels.

    directory: Exif, its first directory; profile: ICC; xmp: a packet; resolution_dpi: (x, y).
    """

    directory: Directory = field(default_factory=dict)
    profile: bytes | None = None
    xmp: bytes | None = None
    resolution_dpi: tuple[float, float] = (300.0, 300.0)


def write_tiff(path: Path, codes: NDArray[Any], attached: Attached) -> None:
    """Write a TIFF of one page.

    Parameters
    ----------
    path : a temporary file.
    codes : uint8, uint16 or float32; (height, width) is grey, (height, width, 3) is RGB and
        (height, width, 4) RGB with straight alpha.
    """
    import tifffile  # noqa: PLC0415 - loaded when a TIFF is written

    big = codes.nbytes > BIG_FROM_BYTES
    with tifffile.TiffWriter(path, bigtiff=big, byteorder="<") as stream:
        write_page(stream, codes, attached)
    add_tags(path, attached)


def write_page(stream: Any, codes: NDArray[Any], attached: Attached, **options: Any) -> None:
    """Write one page through an open tifffile.TiffWriter; options are passed on to it."""
    colour = codes.ndim == 3
    if colour and codes.shape[2] == 4:
        options["extrasamples"] = ["unassalpha"]
    stream.write(
        codes,
        photometric="rgb" if colour else "minisblack",
        planarconfig="contig" if colour else None,
        rowsperstrip=_ROWS_PER_STRIP,
        compression="adobe_deflate",
        compressionargs={"level": _DEFLATE_LEVEL},
        predictor=True,
        iccprofile=attached.profile,
        resolution=attached.resolution_dpi,
        resolutionunit="INCH",
        software=False,
        metadata=None,
        maxworkers=2,
        **options,
    )


def add_tags(path: Path, attached: Attached) -> None:
    """Write the first page's directory anew, with Exif and XMP."""
    added = dict(attached.directory)
    if attached.xmp:
        added[_XMP] = ifd.Entry(ifd.BYTE, len(attached.xmp), attached.xmp)
    with path.open("r+b") as stream:
        head = stream.read(16)
        big = head[2] == 43
        wide, count_form = ("<Q", "<Q") if big else ("<I", "<H")
        pointer, step = (8, 20) if big else (4, 12)
        stream.seek(struct.unpack_from(wide, head, pointer)[0])
        (count,) = struct.unpack(count_form, stream.read(struct.calcsize(count_form)))
        old = [stream.read(step) for _ in range(count)]
        (following,) = struct.unpack(wide, stream.read(struct.calcsize(wide)))
        kept = {struct.unpack_from("<H", entry)[0]: entry for entry in old}
        end = stream.seek(0, 2)
        place = end + end % 2
        block = ifd.dump(added, place, big=big, kept=kept, following=following)
        stream.write(bytes(end % 2) + block)
        stream.seek(pointer)
        stream.write(struct.pack(wide, place))
