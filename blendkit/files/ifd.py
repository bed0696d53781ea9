"""TIFF directories (IFDs), the structure of both TIFF files and Exif blocks.

Values are kept as the bytes they were, so that what is carried on is carried unchanged; only the
byte order becomes little-endian.  Whatever lies outside the data, or is too large to be honest, is
left out and counted.

References
----------
.. [1] TIFF Revision 6.0 (1992), section 2: header, IFD, types.
.. [2] CIPA DC-008 (Exif 2.32), 4.6.2: IFD structure and the pointer tags.
"""

import struct
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from typing import Protocol, TypeAlias

import numpy as np

from blendkit.files.limits import MAX_TAG_BYTES

EXIF, GPS, INTEROP = 34665, 34853, 40965
"""Tags that point to a directory of their own ([2]_)."""

ASCII, SHORT, LONG, RATIONAL = 2, 3, 4, 5
BYTE, UNDEFINED, SRATIONAL = 1, 7, 10

# type: (bytes a value, bytes that swap together, numpy kind)
_TYPES = {
    1: (1, 1, "u1"), 2: (1, 1, "u1"), 3: (2, 2, "u2"), 4: (4, 4, "u4"), 5: (8, 4, "u4"),
    6: (1, 1, "i1"), 7: (1, 1, "u1"), 8: (2, 2, "i2"), 9: (4, 4, "i4"), 10: (8, 4, "i4"),
    11: (4, 4, "f4"), 12: (8, 8, "f8"), 13: (4, 4, "u4"), 16: (8, 8, "u8"), 17: (8, 8, "i8"),
    18: (8, 8, "u8"), 129: (1, 1, "u1"),  # UTF-8, Exif 3.0
}  # fmt: skip
_MOST_ENTRIES = 1000
_USER_COMMENT, _UTF_16 = 37510, b"UNICODE\0"


class Readable(Protocol):
    """Bytes, or what gives a file's bytes by slices."""

    def __getitem__(self, index: slice, /) -> bytes:
        """Return a part; less than asked for where the data end."""


@dataclass(frozen=True, slots=True)
class Entry:
    """One value: its TIFF type, count, and bytes in little-endian order."""

    type: int
    count: int
    data: bytes

    def numbers(self) -> list[float]:
        """Return the value as numbers; a rational with denominator 0 gives nan."""
        kind = _TYPES[self.type][2]
        plain = np.frombuffer(self.data, f"<{kind}").astype(np.float64)
        if self.type not in (RATIONAL, SRATIONAL):
            return [float(number) for number in plain]
        pairs = plain.reshape(-1, 2)
        return [float(a / b) if b else float("nan") for a, b in pairs]

    def text(self) -> str:
        """Return the value as text without padding: UTF-8, or Latin-1 where it is not."""
        raw = self.data.split(b"\0", 1)[0].strip()
        try:
            return raw.decode("utf-8")
        except UnicodeDecodeError:
            return raw.decode("latin-1")


Directory: TypeAlias = "dict[int, Entry | Directory]"
"""Values by tag; the tags EXIF, GPS and INTEROP hold directories."""


def ascii_entry(text: str) -> Entry:
    """Return a text value; beyond ASCII it is UTF-8, as most writers do."""
    data = text.encode("utf-8") + b"\0"
    return Entry(ASCII, len(data), data)


def short_entry(*values: int) -> Entry:
    """Return a value of 16-bit numbers."""
    return Entry(SHORT, len(values), struct.pack(f"<{len(values)}H", *values))


def long_entry(*values: int) -> Entry:
    """Return a value of 32-bit numbers."""
    return Entry(LONG, len(values), struct.pack(f"<{len(values)}I", *values))


def rational_entry(*values: tuple[int, int]) -> Entry:
    """Return a value of unsigned fractions (numerator, denominator)."""
    flat = [number for pair in values for number in pair]
    return Entry(RATIONAL, len(values), struct.pack(f"<{len(flat)}I", *flat))


def undefined_entry(data: bytes) -> Entry:
    """Return a value of opaque bytes."""
    return Entry(UNDEFINED, len(data), data)


class _Reader:
    """Walks the directories of one block; `dropped` counts values that could not be read."""

    def __init__(self, data: Readable) -> None:
        head = bytes(data[0:16])
        self.order = {b"II": "<", b"MM": ">"}.get(head[:2], "")
        if not self.order or len(head) < 8:
            raise ValueError("no TIFF header")
        (version,) = struct.unpack_from(f"{self.order}H", head, 2)
        if version not in (42, 43):
            raise ValueError(f"TIFF version {version}")
        self.big = version == 43
        self.data, self.dropped = data, 0
        self.first = self._unpack("Q" if self.big else "I", 8 if self.big else 4)[0]

    def _unpack(self, form: str, at: int) -> tuple[int, ...]:
        form = self.order + form
        raw = bytes(self.data[at : at + struct.calcsize(form)])
        return struct.unpack(form, raw)

    def directory(self, at: int, wanted: frozenset[int] | None, depth: int = 0) -> Directory:
        (count,) = self._unpack("Q" if self.big else "H", at)
        if count > _MOST_ENTRIES:
            raise ValueError(f"a directory of {count} entries")
        found: Directory = {}
        start, step = (at + 8, 20) if self.big else (at + 2, 12)
        for place in range(start, start + count * step, step):
            self._one(place, wanted, depth, found)
        return found

    def _one(self, at: int, wanted: frozenset[int] | None, depth: int, found: Directory) -> None:
        try:
            tag, kind = self._unpack("HH", at)
            if wanted is not None and tag not in wanted:
                return
            entry = self._entry(at, kind)
            if tag == _USER_COMMENT and self.order == ">":
                entry = _swapped_comment(entry)
            if tag not in (EXIF, GPS, INTEROP):
                found[tag] = entry
            elif depth < 2:
                found[tag] = self.directory(int(entry.numbers()[0]), None, depth + 1)
            else:
                self.dropped += 1  # deeper than Exif goes: directories that point in a circle
        except (struct.error, ValueError, LookupError, OverflowError):
            self.dropped += 1

    def _entry(self, at: int, kind: int) -> Entry:
        size, unit, letter = _TYPES[kind]
        (count,) = self._unpack("Q" if self.big else "I", at + 4)
        total, inline = count * size, 8 if self.big else 4
        if total > MAX_TAG_BYTES:
            raise ValueError(f"a value of {total} bytes")
        place = at + (12 if self.big else 8)
        if total > inline:
            (place,) = self._unpack("Q" if self.big else "I", place)
        raw = bytes(self.data[place : place + total])
        if len(raw) != total:
            raise ValueError("a value outside the data")
        if self.order == ">" and unit > 1:
            raw = np.frombuffer(raw, f">{letter}").astype(f"<{letter}").tobytes()
        return Entry(kind, count, raw)


def _swapped_comment(entry: Entry) -> Entry:
    """Return a comment whose text, if it is UTF-16 ([2]_, 4.6.5), is little-endian as well.

    It has type UNDEFINED, so its bytes are opaque; readers take them in the order of the block.
    """
    code, text = entry.data[: len(_UTF_16)], entry.data[len(_UTF_16) :]
    if code != _UTF_16 or len(text) % 2:
        return entry
    return replace(entry, data=code + np.frombuffer(text, ">u2").astype("<u2").tobytes())


def parse(data: Readable, wanted: Iterable[int] | None = None) -> tuple[Directory, int]:
    """Read the first directory of a TIFF-structured block, and those that it points to.

    Parameters
    ----------
    data : the block or the whole file, from its "II" or "MM" on.
    wanted : tags of the first directory to keep; None keeps all.

    Returns
    -------
    directory : values by tag.
    dropped : how many values were left out because they are broken.

    Raises
    ------
    ValueError : not a TIFF structure at all.
    """
    reader = _Reader(data)
    try:
        found = reader.directory(reader.first, None if wanted is None else frozenset(wanted))
    except struct.error as error:
        raise ValueError("the first directory lies outside the data") from error
    return found, reader.dropped


def dump(
    directory: Directory,
    at: int,
    *,
    big: bool = False,
    kept: Mapping[int, bytes] | None = None,
    following: int = 0,
) -> bytes:
    """Return a directory as bytes that will stand at offset `at` (even), little-endian.

    Its values and the directories it points to follow it.

    Parameters
    ----------
    directory : values by tag.
    at : offset in the file or block.
    big : write BigTIFF's wider fields.
    kept : complete entries of an older directory in the same file, by tag.
    following : offset of the next page's directory, 0 = none.
    """
    kept = kept or {}
    inline, head, form = (8, 8, "<HHQ8s") if big else (4, 2, "<HHI4s")
    wide = "<Q" if big else "<I"
    tags = sorted({*directory, *kept})
    start = at + head + len(tags) * struct.calcsize(form) + inline
    entries, after = bytearray(), bytearray()
    for tag in tags:
        if tag not in directory:
            entries += kept[tag]
            continue
        value = directory[tag]
        after += bytes(len(after) % 2)
        place = start + len(after)
        if isinstance(value, dict):
            after += dump(value, place, big=big)
            value = long_entry(place) if place < 2**32 else Entry(16, 1, struct.pack("<Q", place))
        field = value.data
        if len(field) > inline:
            field = struct.pack(wide, place)
            after += value.data
        entries += struct.pack(form, tag, value.type, value.count, field)
    count = struct.pack("<Q" if big else "<H", len(tags))
    return count + bytes(entries) + struct.pack(wide, following) + bytes(after)


def dump_block(directory: Directory) -> bytes:
    """Return a whole TIFF-structured block, as Exif has it in JPEG and PNG."""
    return b"II*\0" + struct.pack("<I", 8) + dump(directory, 8)
