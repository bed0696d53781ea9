"""Lengths, sizes and sensors as people write them: "27ft", "8.2m", "60x40", "full-frame"."""

import math
import re

from blendkit.errors import InputError
from blendkit.optics.recorded_sensor import SENSORS_MM

MM_PER_UNIT = {
    "mm": 1.0,
    "cm": 10.0,
    "m": 1000.0,
    "km": 1e6,
    "in": 25.4,
    "ft": 304.8,
    "yd": 914.4,
}
"""Inch, foot and yard are exact by the international yard and pound agreement of 1959."""

_NUMBER = r"(\d+(?:\.\d*)?|\.\d+)"
_LENGTH = re.compile(rf"{_NUMBER}\s*([a-z]*)")
_SIZE = re.compile(rf"{_NUMBER}\s*x\s*{_NUMBER}")


def parse_length_mm(
    text: str, *, bare: str = "m", name: str = "length", example: str = "8.2m"
) -> float:
    """Return a length in mm; a number without a unit is in `bare`; "inf" is infinity.

    Raises InputError, one line with the example, for anything but a positive number with a known
    unit.

    >>> parse_length_mm("27ft"), parse_length_mm("8.2 m"), parse_length_mm("135", bare="mm")
    (8229.6, 8200.0, 135.0)
    """
    written = text.strip().lower()
    if written in {"inf", "infinity"}:
        return math.inf
    match = _LENGTH.fullmatch(written)
    unit = (match[2] or bare) if match else ""
    value = float(match[1]) * MM_PER_UNIT.get(unit, math.nan) if match else math.nan
    if not 0 < value < math.inf:
        units = ", ".join(MM_PER_UNIT)
        raise InputError(
            f"{name} = {text}: write a number above 0 and a unit ({units}), such as {example};"
            f" a bare number is in {bare}"
        )
    return value


def parse_length_m(text: str, *, name: str = "distance") -> float:
    """Return a distance in m; a number without a unit is in metres.

    >>> parse_length_m("300mm"), parse_length_m("4")
    (0.3, 4.0)
    """
    return parse_length_mm(text, name=name) / MM_PER_UNIT["m"]


def parse_size(text: str, *, unit: str, name: str, example: str = "60x40") -> tuple[float, float]:
    """Return (width, height) of a size such as "60x40".

    >>> parse_size("60x40", unit="cm", name="print")
    (60.0, 40.0)
    """
    match = _SIZE.fullmatch(text.strip().lower().removesuffix(unit).strip())
    size = (float(match[1]), float(match[2])) if match else (0.0, 0.0)
    if not min(size) > 0:
        raise InputError(
            f"{name} = {text}: write width x height in {unit}, both above 0, such as {example}"
        )
    return size


def parse_pixels(text: str, *, name: str = "pixels") -> tuple[int, int]:
    """Return (width, height) in px of a size such as "6000x4000"."""
    width, height = parse_size(text, unit="px", name=name, example="6000x4000")
    if width != int(width) or height != int(height):
        raise InputError(f"{name} = {text}: write whole numbers of px, such as 6000x4000")
    return int(width), int(height)


def parse_sensor_mm(text: str, *, name: str = "sensor") -> tuple[float, float]:
    """Return a sensor's (width, height) in mm from its name or its size.

    >>> parse_sensor_mm("aps-c"), parse_sensor_mm("24x36")
    ((23.5, 15.6), (24.0, 36.0))
    """
    known = SENSORS_MM.get(text.strip().lower())
    if known:
        return known
    if not _SIZE.fullmatch(text.strip().lower().removesuffix("mm").strip()):
        names = ", ".join(SENSORS_MM)
        raise InputError(f"{name} = {text}: choose {names}, or write its size in mm such as 36x24")
    return parse_size(text, unit="mm", name=name, example="36x24")


def parse_number(text: str, *, name: str, example: str = "2.8") -> float:
    """Return a number; an f-number may be written f/2.8.

    >>> parse_number("f/2.8", name="--wide"), parse_number("100", name="--iso")
    (2.8, 100.0)
    """
    match = re.fullmatch(_NUMBER, text.strip().lower().removeprefix("f/"))
    if not match or not float(match[1]) > 0:
        raise InputError(f"{name} = {text}: write a number above 0, such as {example}")
    return float(match[1])


def parse_shutter_s(text: str, *, name: str) -> float:
    """Return a shutter time in s.

    >>> parse_shutter_s("1/500", name="--shutter"), parse_shutter_s("2s", name="--shutter")
    (0.002, 2.0)
    """
    match = re.fullmatch(rf"{_NUMBER}(?:/{_NUMBER})?\s*s?", text.strip().lower())
    above, below = (float(match[1]), float(match[2] or 1)) if match else (0.0, 1.0)
    if not above * below > 0:
        raise InputError(f"{name} = {text}: write a time above 0 in seconds, such as 1/500 or 0.5")
    return above / below
