"""Names of delivered files, from a pattern in Python's format fields."""

import string
from datetime import UTC, datetime

from blendkit.errors import InputError
from blendkit.files.print_size import Placement, effective_dpi
from blendkit.settings import DeliverySettings

FIELDS = ("stem", "number", "profile", "width", "height", "cut", "dpi", "date")
"""What a pattern may name."""

_SUFFIXES = {"jpeg": ".jpg", "tiff": ".tif"}


def file_name(
    stem: str, settings: DeliverySettings, placement: Placement, *, profile: str, number: int
) -> str:
    """Return the name of a delivered file with its suffix.

    Parameters
    ----------
    stem : name of the result without suffix.
    settings : pattern and kind of file.
    placement : gives width and height.
    profile : name of the output profile.
    number : counts the files of one delivery.

    Raises
    ------
    InputError : unknown fields, or a pattern that names no file.
    """
    values = {
        "stem": stem,
        "number": number,
        "profile": profile,
        "width": placement.sheet[0],
        "height": placement.sheet[1],
        "cut": _cut(settings),
        "dpi": round(effective_dpi(placement, settings)),
        "date": datetime.now(UTC).astimezone().date().isoformat(),
    }
    check_pattern(settings.name)
    try:
        name = settings.name.format(**values)
    except (KeyError, ValueError, IndexError, AttributeError) as error:
        raise InputError(f"name {settings.name!r}: {error}; check its braces") from error
    if not name.strip() or "/" in name or "\\" in name or name.startswith("."):
        raise InputError(f"name {settings.name!r}: gives {name!r}; it must name a file, no folder")
    return name + _SUFFIXES[settings.format]


def _cut(settings: DeliverySettings) -> str:
    """Return what tells a copy from one of the same size that shows the whole picture."""
    words = "-crop" if settings.fit == "crop" and settings.print_width_cm is not None else ""
    return f"{words}-trim" if settings.trim else words


def names_number(pattern: str) -> bool:
    """Return whether a pattern's files are called by their number; InputError if it is none.

    >>> names_number("{stem}-lab"), names_number("lab-{number:03}")
    (False, True)
    """
    return "number" in _fields(pattern)


def _fields(pattern: str) -> list[str]:
    try:
        return [field for _, field, _, _ in string.Formatter().parse(pattern) if field is not None]
    except ValueError as error:
        raise InputError(f"name {pattern!r}: {error}; check its braces") from error


def check_pattern(pattern: str, *, several: bool = False) -> None:
    """Raise InputError unless a pattern names what there is, and each of several files another way.

    Results of one size would have one name if the pattern named neither stem nor number.
    """
    used = _fields(pattern)
    unknown = [field for field in used if field not in FIELDS]
    if unknown:
        raise InputError(
            f"name {pattern!r}: there is no field {unknown[0]!r}; choose from {', '.join(FIELDS)}"
        )
    if several and not {"stem", "number"} & set(used):
        raise InputError(
            f"name {pattern!r}: gives all pairs one name; put {{stem}} or {{number}} into it"
        )
