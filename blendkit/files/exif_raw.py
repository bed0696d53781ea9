"""Exif of camera RAWs, which exifread finds in the makers' many containers."""

import struct
from pathlib import Path
from typing import Any

from blendkit.files import exif, ifd
from blendkit.files.ifd import EXIF, GPS, Directory, Entry
from blendkit.files.quiet import quiet

_NESTED = {"EXIF": EXIF, "GPS": GPS}
# exifread names a value by its directory: "Image Make", "EXIF FNumber", "GPS GPSLatitude".
_NUMBERS = {1: "B", 3: "H", 4: "I", 6: "b", 7: "B", 8: "h", 9: "i"}


def directory_of_raw(path: Path) -> tuple[Directory, tuple[str, ...]]:
    """Return the Exif of a RAW as a first directory with its nested ones, and notes."""
    import exifread  # noqa: PLC0415 - an extra

    try:
        with quiet("exifread"), path.open("rb") as stream:
            found = exifread.process_file(stream, details=False)
    except Exception as error:  # noqa: BLE001 - damaged Exif must never stop a merge
        return {}, (f"{path.name}: its Exif is damaged ({type(error).__name__}) and was left out",)
    directory: Directory = {}
    nested: dict[int, Directory] = {EXIF: {}, GPS: {}}
    for name, value in found.items():
        group = name.split(" ", 1)[0]
        entry = _entry(value)
        if entry is not None and group in _NESTED:
            nested[_NESTED[group]][value.tag] = entry
        elif entry is not None and group == "Image" and value.tag in exif.IFD0_READ:
            directory[value.tag] = entry
    if exif.DATE_TIME in directory:  # in a RAW, which nobody changes, the time of capture
        nested[EXIF].setdefault(exif.ORIGINAL_TIME, directory[exif.DATE_TIME])
    directory |= {tag: values for tag, values in nested.items() if values}
    return directory, () if found else (f"{path.name}: no Exif was found",)


def _entry(value: Any) -> Entry | None:
    """Return an exifread value as an Entry; None where it does not fit its type."""
    kind = int(getattr(value, "field_type", 0) or 0)
    values: Any = getattr(value, "values", None)
    try:
        if kind == ifd.ASCII:
            return ifd.ascii_entry(values if isinstance(values, str) else "")
        if kind in (ifd.RATIONAL, ifd.SRATIONAL):
            flat = [number for pair in values for number in (pair.num, pair.den)]
            form = f"<{len(flat)}{'I' if kind == ifd.RATIONAL else 'i'}"
            return Entry(kind, len(values), struct.pack(form, *flat))
        if kind in _NUMBERS:
            packed = struct.pack(f"<{len(values)}{_NUMBERS[kind]}", *values)
            return Entry(kind, len(values), packed)
    except (struct.error, TypeError, AttributeError, ValueError):
        return None
    return None
