"""What the camera recorded: Exif blocks to a `Capture`, and the Exif that a result carries on.

References
----------
.. [1] CIPA DC-008 (Exif 2.32), 4.6.4-4.6.6: tags, types and defaults.
"""

import math
from datetime import datetime, timedelta, timezone

from blendkit.files import ifd
from blendkit.files.ifd import EXIF, GPS, Directory, Entry
from blendkit.frame import Capture

# IFD0 ([1]_, table 4)
DESCRIPTION, MAKE, MODEL, ORIENTATION = 270, 271, 272, 274
X_RESOLUTION, Y_RESOLUTION, RESOLUTION_UNIT = 282, 283, 296
SOFTWARE, DATE_TIME, ARTIST, COPYRIGHT, RATING = 305, 306, 315, 33432, 18246
# Exif IFD ([1]_, tables 7 and 8)
EXPOSURE_TIME, F_NUMBER, ISO, VERSION = 33434, 33437, 34855, 36864
ORIGINAL_TIME, ORIGINAL_OFFSET, ORIGINAL_SUBSEC = 36867, 36881, 37521
CHANGE_OFFSET, CHANGE_SUBSEC = 36880, 37520
APERTURE, SUBJECT_DISTANCE, FLASH, FOCAL_LENGTH = 37378, 37382, 37385, 37386
FOCAL_LENGTH_35MM = 41989
_ISO_BEYOND, _MOST_IN_16_BITS = (34866, 34865, 34867), 65535
"""RecommendedExposureIndex, StandardOutputSensitivity, ISOSpeed."""
MAKER_NOTE, COLOUR_SPACE, WIDTH, HEIGHT = 37500, 40961, 40962, 40963
OWNER, BODY_SERIAL, LENS_MODEL, LENS_SERIAL = 42032, 42033, 42036, 42037
UNIQUE_ID = 42016
INTEROP_INDEX = 1
_UNCALIBRATED = 0xFFFF

IFD0_CARRIED = (DESCRIPTION, MAKE, MODEL, ARTIST, COPYRIGHT, RATING, EXIF, GPS)
"""Tags of IFD0 that pass from the background frame to the result; the others describe its file."""

IFD0_READ = (
    *IFD0_CARRIED,
    ORIENTATION,
    X_RESOLUTION,
    Y_RESOLUTION,
    RESOLUTION_UNIT,
    SOFTWARE,
    DATE_TIME,
)
"""Tags of IFD0 that are read."""

# Maker notes hold offsets that break when they are moved, previews of the old picture and serial
# numbers; the thumbnail (IFD1) shows the old picture.  Neither is carried.
_NOT_CARRIED = (MAKER_NOTE, WIDTH, HEIGHT, ifd.INTEROP)
# Descriptions in which scientific writers keep the layout of their own file.
_LAYOUTS = ('{"shape"', "ImageJ=", "<?xml")
# The last three: owner and body as raw converters write them, and a place where none belongs.
_PRIVATE = (OWNER, BODY_SERIAL, LENS_SERIAL, UNIQUE_ID, 65000, 65001, GPS)


def entry(directory: Directory, tag: int, *, inside: int | None = None) -> Entry | None:
    """Return a value of the directory, or of the one it points to by `inside`."""
    if inside is not None:
        nested = directory.get(inside)
        return entry(nested, tag) if isinstance(nested, dict) else None
    found = directory.get(tag)
    return found if isinstance(found, Entry) else None


def number(directory: Directory, tag: int, *, inside: int | None = None) -> float | None:
    """Return a value's first number if it is finite."""
    found = entry(directory, tag, inside=inside)
    values = found.numbers() if found is not None else []
    return values[0] if values and math.isfinite(values[0]) else None


def text(directory: Directory, tag: int, *, inside: int | None = None) -> str | None:
    """Return a value as text, None if it is missing or blank."""
    found = entry(directory, tag, inside=inside)
    return (found.text() or None) if found is not None else None


def orientation(directory: Directory) -> int:
    """Return the orientation, 1 to 8; 1 = upright where the file gives none or nonsense."""
    value = number(directory, ORIENTATION)
    return int(value) if value is not None and value in range(1, 9) else 1


def capture_of(directory: Directory) -> Capture:
    """Return what the camera recorded, from the first directory of an Exif block."""
    flash = number(directory, FLASH, inside=EXIF)
    return Capture(
        f_number=_positive(directory, F_NUMBER) or _from_apex(directory),
        exposure_time_s=_positive(directory, EXPOSURE_TIME),
        iso=_iso(directory),
        focal_length_mm=_positive(directory, FOCAL_LENGTH),
        focus_distance_m=_focus_distance(directory),
        captured_at=_captured_at(directory),
        camera=_camera(directory),
        lens=text(directory, LENS_MODEL, inside=EXIF),
        copyright=text(directory, COPYRIGHT),
        focal_length_35mm=_positive(directory, FOCAL_LENGTH_35MM),
        flash_fired=None if flash is None else bool(int(flash) & 1),
    )


# Largest values that are believed; beyond them a tag is damaged or a test.
_LARGEST = {
    EXPOSURE_TIME: 1e6,
    F_NUMBER: 1e3,
    ISO: 1e8,
    **dict.fromkeys(_ISO_BEYOND, 1e8),
    FOCAL_LENGTH: 1e5,
    FOCAL_LENGTH_35MM: 1e5,
    SUBJECT_DISTANCE: 1e9,
}


def _positive(directory: Directory, tag: int) -> float | None:
    value = number(directory, tag, inside=EXIF)
    return value if value and 0 < value <= _LARGEST[tag] else None


def _iso(directory: Directory) -> float | None:
    """Return the sensitivity; above what its tag of 16 bits holds, others say it ([1]_, 4.6.6)."""
    value = _positive(directory, ISO)
    if value is None or value < _MOST_IN_16_BITS:
        return value
    others = (_positive(directory, tag) for tag in _ISO_BEYOND)
    return next((other for other in others if other is not None and other > value), value)


def _from_apex(directory: Directory) -> float | None:
    """Return the f-number from the aperture value, N = 2^(Av/2) ([1]_, annex C)."""
    value = number(directory, APERTURE, inside=EXIF)
    return round(2 ** (value / 2), 1) if value and 0 < value < 20 else None


def _focus_distance(directory: Directory) -> float | None:
    # Numerator FFFFFFFF means infinity, 0 means unknown ([1]_, SubjectDistance).
    found = entry(directory, SUBJECT_DISTANCE, inside=EXIF)
    if found is not None and found.data[:4] == b"\xff\xff\xff\xff":
        return math.inf
    return _positive(directory, SUBJECT_DISTANCE)


def _camera(directory: Directory) -> str | None:
    make, model = text(directory, MAKE), text(directory, MODEL)
    first = (make or "").split()[:1]
    if first and model and model.lower().startswith(first[0].lower()):
        return model
    return " ".join(part for part in (make, model) if part) or None


def _captured_at(directory: Directory) -> datetime | None:
    """Return the time of capture with its fraction of a second and, if recorded, its offset."""
    stamp = text(directory, ORIGINAL_TIME, inside=EXIF)
    try:
        moment = datetime.strptime((stamp or "")[:19], "%Y:%m:%d %H:%M:%S")  # noqa: DTZ007
    except ValueError:
        return None
    fraction = text(directory, ORIGINAL_SUBSEC, inside=EXIF) or ""
    if fraction.isascii() and fraction.isdigit():
        moment = moment.replace(microsecond=int(fraction[:6].ljust(6, "0")))
    return moment.replace(tzinfo=_offset(text(directory, ORIGINAL_OFFSET, inside=EXIF)))


def _offset(value: str | None) -> timezone | None:
    try:
        moment = datetime.strptime(value or "", "%z")
    except ValueError:
        return None
    return timezone(moment.utcoffset() or timedelta())


def carried(
    directory: Directory,
    *,
    size: tuple[int, int],
    software: str,
    changed_at: datetime,
    private: bool = False,
    srgb: bool,
) -> Directory:
    """Return the Exif of a result, from that of the background frame.

    Parameters
    ----------
    directory : the background frame's first directory; may be empty.
    size : (width, height) of the result in px.
    software : name and version that go to tag Software.
    changed_at : goes to tag DateTime, the time of the last change ([1]_).
    private : leave out position, owner and serial numbers.
    srgb : whether the pixels are sRGB, as ColorSpace says.
    """
    result = {tag: directory[tag] for tag in IFD0_CARRIED if tag in directory}
    if (text(directory, DESCRIPTION) or "").startswith(_LAYOUTS):
        del result[DESCRIPTION]
    nested = result.get(EXIF)
    details = dict(nested) if isinstance(nested, dict) else {}
    for tag in (*_NOT_CARRIED, *(_PRIVATE if private else ())):
        details.pop(tag, None)
    if private:
        result.pop(GPS, None)
    details[COLOUR_SPACE] = ifd.short_entry(1 if srgb else _UNCALIBRATED)
    details.setdefault(VERSION, ifd.undefined_entry(b"0232"))
    details[WIDTH], details[HEIGHT] = ifd.long_entry(size[0]), ifd.long_entry(size[1])
    details[CHANGE_OFFSET] = ifd.ascii_entry(offset_text(changed_at))
    details.pop(CHANGE_SUBSEC, None)
    result[EXIF] = details
    result[ORIENTATION] = ifd.short_entry(1)
    result[SOFTWARE] = ifd.ascii_entry(software)
    result[DATE_TIME] = ifd.ascii_entry(changed_at.strftime("%Y:%m:%d %H:%M:%S"))
    return result


def offset_text(moment: datetime) -> str:
    """Return a time's distance from UTC as Exif writes it, +02:00."""
    offset = moment.strftime("%z")
    return f"{offset[:3]}:{offset[3:5]}"


def marked_profile(directory: Directory) -> str:
    """Return "opRGB" if Exif marks that colour space, as cameras do without embedding it.

    DCF 2.0 (CIPA DC-009), optional colour space: interoperability index R03, ColorSpace FFFF.
    """
    details = directory.get(EXIF)
    nested = details.get(ifd.INTEROP) if isinstance(details, dict) else None
    index = text(nested, INTEROP_INDEX) if isinstance(nested, dict) else None
    return "opRGB" if index == "R03" else "sRGB"


def resolution(directory: Directory) -> tuple[float, float] | None:
    """Return the resolution in dots per inch (x, y), None if it is not given or not plausible."""
    across, down = number(directory, X_RESOLUTION), number(directory, Y_RESOLUTION)
    unit = number(directory, RESOLUTION_UNIT) or 2
    factor = {2: 1.0, 3: 2.54}.get(int(unit))
    if not across or not down or factor is None:
        return None
    return plausible_dpi(across * factor, down * factor)


def plausible_dpi(across: float, down: float) -> tuple[float, float] | None:
    """Return a resolution in dots per inch as it is, None where no print could have it."""
    return (across, down) if min(across, down) >= 1 and max(across, down) <= 100_000 else None
