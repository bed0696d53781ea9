"""Decoding of TIFF, by tifffile, strip by strip or tile by tile."""

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Any, BinaryIO, cast

import numpy as np

from blendkit.errors import InputError, out_of_memory
from blendkit.files import exif, ifd
from blendkit.files.decoded import Codes, Decoded, left_out
from blendkit.files.limits import (
    MAX_COMPRESSION,
    MAX_PROFILE_BYTES,
    MAX_TAG_BYTES,
    MAX_ZSTANDARD,
    check_claim,
    check_size,
)
from blendkit.files.quiet import quiet

if TYPE_CHECKING:
    from tifffile import TiffFile, TiffPage

_ICC, _XMP = 34675, 700
_ZSTANDARD = 50000  # of TIFF's compressions
_ROWS = 256
_BYTES_AT_ONCE = 8 << 20  # what is decoded ahead of being used stays below a few times this
_REFUSED = {
    3: "has a colour palette",
    4: "is a transparency mask",
    5: "is in CMYK, which has no single way back to light",
    6: "is stored as YCbCr",
    8: "is in Lab",
    32803: "is a camera's raw mosaic",
    34892: "is linear raw",
}
_ALPHA = (1, 2)
"""ExtraSamples of alpha, premultiplied or straight (TIFF 6.0, section 18); 0 says nothing."""
_REDUCED, _MOST_PAGES = 1, 8
_TYPES = {"uint8": 8, "uint16": 16, "float32": 32}


def decode(path: Path, name: str) -> Decoded:
    """Open a TIFF and describe it; its pixels are decoded when asked for.

    Raises
    ------
    InputError : not a TIFF that is read here; the message says what to do.
    """
    with _opened(path, name) as file:
        page = _picture_page(file)
        if page.subfiletype & _REDUCED:
            raise InputError(
                f"{name}: holds a reduced picture alone, not the one that it is of; export it again"
            )
        _check_kind(page, name)
        _check_storage(page, name, path.stat().st_size)
        directory, notes = _directory(path)
        profile = _value_of(file, page, _ICC, MAX_PROFILE_BYTES)
        packet = _value_of(file, page, _XMP, MAX_TAG_BYTES)
        for value, tag, what in ((profile, _ICC, "colour profile"), (packet, _XMP, "XMP")):
            if value is None and page.tags.get(tag) is not None:
                notes = (*notes, left_out(name, what))
        if str(page.dtype) == "float32" and not page.tags.get(_ICC):
            notes = (*notes, f"{name}: float values without a profile; taken as encoded in sRGB")
        if len(file.pages) > 1:
            notes = (*notes, f"{name}: has several pages; the first in full size is read")
        return Decoded(
            size=(page.imagewidth, page.imagelength),
            channels=page.samplesperpixel,
            bits=_TYPES[str(page.dtype)],
            planar=page.samplesperpixel > 1 and page.planarconfig == 2,
            blocks=lambda: _blocks(path, name),
            directory=directory,
            icc_profile=profile,
            xmp=packet,
            resolution_dpi=exif.resolution(directory),
            orientation=exif.orientation(directory),
            inverted=int(page.photometric) == 0,
            notes=notes,
        )


def xmp_of(path: Path) -> bytes | None:
    """Return a TIFF's XMP, also of one whose pixels are not read here; InputError if damaged."""
    with _opened(path, path.name) as file:
        return _value_of(file, _picture_page(file), _XMP, MAX_TAG_BYTES)


def _picture_page(file: "TiffFile") -> "TiffPage":
    """Return the first page that is no reduced picture of another (TIFF 6.0, NewSubfileType).

    It may also stand in a directory below the first page's (TIFF Technical Note 1, SubIFDs); the
    first page where all are reduced.
    """
    first = file.pages.first
    if first.subfiletype & _REDUCED == 0:
        return first
    below = first.pages or ()
    pages = (
        *(file.pages[index] for index in range(1, min(len(file.pages), _MOST_PAGES))),
        *(below[index] for index in range(min(len(below), _MOST_PAGES))),
    )
    whole = (page for page in pages if cast("TiffPage", page).subfiletype & _REDUCED == 0)
    return cast("TiffPage", next(whole, first))


def _value_of(file: "TiffFile", page: "TiffPage", tag: int, most: int) -> bytes | None:
    """Return a page's value, else the first page's: what holds for a whole file stands there."""
    return _value(page, tag, most) or _value(file.pages.first, tag, most)


@contextmanager
def _opened(path: Path, name: str) -> "Iterator[TiffFile]":
    import tifffile  # noqa: PLC0415 - loaded when a TIFF is read

    try:
        with quiet("tifffile", "imagecodecs"), tifffile.TiffFile(path) as file:
            yield file
    except (InputError, OSError, GeneratorExit):
        raise
    except Exception as error:
        if out_of_memory(error):
            raise
        raise InputError(
            f"{name}: is damaged or not a TIFF{_why(error)}; export it again"
        ) from error


def _why(error: Exception) -> str:
    """Return what a reader said, in brackets; a bare key or number tells nobody anything.

    >>> _why(ValueError("corrupted tag list")), _why(KeyError(0))
    (' (corrupted tag list)', '')
    """
    said = " ".join(str(error).split())[:120]
    return f" ({said})" if any(c.isalpha() for c in said) else ""


def _check_kind(page: "TiffPage", name: str) -> None:
    check_size(name, page.imagewidth, page.imagelength)
    refused = _REFUSED.get(int(page.photometric))
    jpeg_inside = int(page.compression) in (6, 7)
    if refused and not (int(page.photometric) == 6 and jpeg_inside):
        raise InputError(f"{name}: {refused}; save it as RGB, 16 bits a channel")
    extra = tuple(page.extrasamples or ())
    if any(int(kind) in _ALPHA for kind in extra) or page.samplesperpixel in (2, 4):
        raise InputError(f"{name}: has an alpha channel; flatten it and save it without alpha")
    if extra or page.samplesperpixel not in (1, 3) or page.imagedepth != 1:
        more = f", {len(extra)} of them beside its colours" if extra else ""
        raise InputError(
            f"{name}: has {page.samplesperpixel} channels{more}; save it as RGB or grey"
        )
    if str(page.dtype) not in _TYPES or page.bitspersample not in (8, 16, 32):
        raise InputError(
            f"{name}: has {page.bitspersample}-bit values of type {page.dtype}; "
            "save it with 8 or 16 bits, or as 32-bit float"
        )


def _check_storage(page: "TiffPage", name: str, stored: int) -> None:
    offsets, counts = page.dataoffsets, page.databytecounts
    whole = len(offsets) == len(counts) and min(counts, default=0) > 0 and min(offsets) > 0
    if not whole or max(a + b for a, b in zip(offsets, counts, strict=True)) > stored:
        raise InputError(f"{name}: is cut short; copy or export it again")
    samples = page.imagewidth * page.imagelength * page.samplesperpixel
    ratio = MAX_ZSTANDARD if int(page.compression) == _ZSTANDARD else MAX_COMPRESSION
    check_claim(name, samples * page.bitspersample // 8, stored, ratio=ratio)
    tile = np.prod([int(side) for side in page.chunks], dtype=np.float64)
    check_claim(name, int(tile) * page.bitspersample // 8, stored, ratio=ratio)


class _Stream:
    """A file's bytes by slices.  A memory map would do, but a file cut short meanwhile kills it."""

    def __init__(self, stream: BinaryIO) -> None:
        self.stream = stream

    def __getitem__(self, place: slice) -> bytes:
        self.stream.seek(place.start)
        return self.stream.read(place.stop - place.start)


def _directory(path: Path) -> tuple[ifd.Directory, tuple[str, ...]]:
    with path.open("rb") as stream:
        try:
            directory, dropped = ifd.parse(_Stream(stream), exif.IFD0_READ)
        except ValueError as error:
            return {}, (f"{path.name}: its Exif is damaged ({error}) and was left out",)
    notes = (f"{path.name}: {dropped} damaged Exif values were left out",) if dropped else ()
    return directory, notes


def _value(page: "TiffPage", tag: int, most: int) -> bytes | None:
    found: Any = page.tags.get(tag)
    if found is None or found.count > most:
        return None
    value = found.value
    return bytes(value) if isinstance(value, bytes) else None


def _blocks(path: Path, name: str) -> Iterator[tuple[int, int, int, Codes]]:
    with _opened(path, name) as file:
        page = _picture_page(file)
        if page.is_memmappable and page.planarconfig == 1:
            yield from _plain(path, name, page)
            return
        for data, index, shape in page.segments(maxworkers=2, buffersize=_BYTES_AT_ONCE):
            channel, _, top, left, _ = index
            rows = min(shape[1], page.imagelength - top)
            columns = min(shape[2], page.imagewidth - left)
            if data is None or data.shape[1] < rows or data.shape[2] < columns:
                raise InputError(f"{name}: is cut short; copy or export it again")
            yield top, left, channel, data[0, :rows, :columns]


def _plain(path: Path, name: str, page: "TiffPage") -> Iterator[tuple[int, int, int, Codes]]:
    """Yield the rows of an uncompressed picture, some at a time."""
    row = (page.imagewidth, page.samplesperpixel)
    kind = np.dtype(page.dtype).newbyteorder(page.parent.byteorder)
    with path.open("rb") as stream:
        stream.seek(page.dataoffsets[0])
        for top in range(0, page.imagelength, _ROWS):
            rows = min(_ROWS, page.imagelength - top)
            codes = np.fromfile(stream, kind, rows * row[0] * row[1])
            if codes.size < rows * row[0] * row[1]:
                raise InputError(f"{name}: is cut short; copy or export it again")
            yield top, 0, 0, codes.reshape(rows, *row).astype(kind.newbyteorder("="), copy=False)
