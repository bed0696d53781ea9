"""How a plan writes its numbers: as many digits as a photographer can use."""

import math
import re
import textwrap

from blendkit.optics import marked_shutter_s
from blendkit.optics.distances import between, distance, distances, span

__all__ = [
    "aperture",
    "between",
    "computed_aperture",
    "disc",
    "distance",
    "distances",
    "focal_length",
    "given_iso",
    "given_shutter",
    "held",
    "iso",
    "length",
    "marked_iso",
    "option_m",
    "percent",
    "pixels",
    "shutter",
    "span",
    "times",
    "wrapped",
]

_BEFORE_UNIT = re.compile(r"(\d|ISO) (?=%|\d|[mcdp]|s\b)")
_ISO_MARKS = (
    *(25, 32, 40, 50, 64, 80, 100, 125, 160, 200, 250, 320, 400, 500, 640, 800, 1000, 1250, 1600),
    *(2000, 2500, 3200, 4000, 5000, 6400, 8000, 10000, 12800, 16000, 20000, 25600, 32000, 40000),
    *(51200, 64000, 80000, 102400, 128000, 160000, 204800, 256000, 320000, 409600),
)
"""Displayed in thirds of a step (common practice, no source)."""


WHOLE = 0.01
"""A reciprocal so near to a whole number was written as 1/n, by a camera perhaps in four digits."""

SHORTEST_DECIMAL_S = 1e-3
LONG_S = 0.26
"""Times from a quarter of a second up are written in decimals, those below a millisecond never."""

NEAR_A_MARK = 2 ** (1 / 6)
"""Half a third of a step, in which marks are spaced."""


def option_m(value_m: float) -> str:
    """Return a distance as an option on the command line takes it.

    >>> option_m(4.0), option_m(2.25), option_m(math.inf)
    ('4m', '2.25m', 'inf')
    """
    return "inf" if math.isinf(value_m) else f"{value_m:.10g}m"


def length(value_m: float) -> str:
    """Return an extent, such as a depth or a width, as text.

    >>> length(0.0042), length(0.098), length(1.25), length(math.inf)
    ('4.2 mm', '9.8 cm', '1.25 m', 'no limit')
    """
    if math.isinf(value_m):
        return "no limit"
    if value_m < 0.01:
        return f"{value_m * 1000:.1f} mm"
    return f"{value_m * 100:.1f} cm" if value_m < 1 else distance(value_m)


def disc(value_mm: float) -> str:
    """Return a blur disc on the sensor as text.

    >>> disc(1.9286), disc(0.0288), disc(0.0)
    ('1.93 mm', '0.029 mm', '0 mm')
    """
    if value_mm < 0.0005:
        return "0 mm"
    return f"{value_mm:.{2 if value_mm >= 0.1 else 3}f} mm"


def pixels(value_px: float) -> str:
    """Return px as text.

    >>> pixels(321.4), pixels(8.94), pixels(0.0)
    ('321 px', '8.9 px', '0 px')
    """
    if value_px < 0.05:
        return "0 px"
    return f"{value_px:.0f} px" if value_px >= 10 else f"{value_px:.1f} px"


def percent(share: float) -> str:
    """Return a share as text.

    >>> percent(0.0803), percent(0.00088), percent(0.61), percent(0.0)
    ('8.0 %', '0.09 %', '61 %', '0 %')
    """
    value = 100 * share
    if value < 0.005:
        return "0 %"
    return f"{value:.{0 if value >= 10 else 1 if value >= 1 else 2}f} %"


def aperture(f_number: float) -> str:
    """Return an f-number as text, as it was given or is engraved.

    >>> aperture(16.0), aperture(0.95), aperture(1.25)
    ('f/16', 'f/0.95', 'f/1.25')
    """
    return f"f/{f_number:g}"


def computed_aperture(f_number: float) -> str:
    """Return an f-number that was worked out as text.

    >>> computed_aperture(22.63), computed_aperture(2.83), computed_aperture(67.94)
    ('f/23', 'f/2.8', 'f/68')
    """
    return f"f/{f_number:.0f}" if f_number >= 10 else f"f/{f_number:.1f}".removesuffix(".0")


def times(factor: float) -> str:
    """Return a factor as text: three digits at most that count, and no exponent.

    >>> times(64), times(6.7272), times(2119.6), times(1024)
    ('64', '6.73', '2120', '1020')
    """
    rounded = float(f"{factor:.3g}")
    return f"{rounded:.0f}" if rounded >= 100 else f"{rounded:g}"


def focal_length(value_mm: float) -> str:
    """Return a focal length as text."""
    return f"{value_mm:g} mm"


def shutter(exact_s: float) -> str:
    """Return the displayed shutter time nearest to an exact one.

    >>> shutter(1 / 512), shutter(0.32), shutter(2), shutter(64), shutter(2048)
    ('1/500 s', '0.3 s', '2 s', '64 s', '2050 s')
    """
    mark = marked_shutter_s(exact_s)
    return f"1/{1 / mark:.0f} s" if mark < 0.3 else f"{times(mark)} s"


def given_shutter(time_s: float) -> str:
    """Return a shutter time as it was given or recorded, not the mark beside it.

    >>> given_shutter(1 / 90), given_shutter(0.7), given_shutter(1 / 500), given_shutter(125)
    ('1/90 s', '0.7 s', '1/500 s', '125 s')
    >>> given_shutter(0.0167), given_shutter(0.3), given_shutter(1 / 4)
    ('0.0167 s', '0.3 s', '1/4 s')
    """
    parts = 1 / time_s
    whole = abs(parts - round(parts)) < WHOLE or parts > 1 / SHORTEST_DECIMAL_S
    if time_s < LONG_S and whole:
        return f"1/{round(parts)} s"
    return f"{time_s:.4f}".rstrip("0").rstrip(".") + " s"


def given_iso(value: float) -> str:
    """Return an ISO as it was given or recorded.

    >>> given_iso(560), given_iso(12800)
    ('ISO 560', 'ISO 12800')
    """
    return f"ISO {value:.10g}"


def marked_iso(value: float) -> float:
    """Return the marked ISO nearest to a value; beyond all of them the value itself.

    >>> marked_iso(635), marked_iso(3276800)
    (640, 3276800)
    """
    if not _ISO_MARKS[0] / NEAR_A_MARK < value < _ISO_MARKS[-1] * NEAR_A_MARK:
        return value
    return min(_ISO_MARKS, key=lambda mark: abs(math.log(mark / value)))


def iso(value: float) -> str:
    """Return the marked ISO nearest to a value as text; beyond all of them the value itself.

    >>> iso(6400), iso(635), iso(99), iso(12700), iso(3276800)
    ('ISO 6400', 'ISO 640', 'ISO 100', 'ISO 12800', 'ISO 3276800')
    """
    mark = marked_iso(value)
    return f"ISO {mark:.3g}" if mark < 1000 else f"ISO {mark:.0f}"


def wrapped(text: str, width: int, *, bullet: str = "- ") -> str:
    """Return a sentence as an item of a list, in lines that never part a number from its unit.

    >>> print(wrapped("a disc of 0.24 mm", 15))
    - a disc of
      0.24 mm
    """
    indent = " " * len(bullet)
    lines = textwrap.fill(held(text), width, initial_indent=bullet, subsequent_indent=indent)
    return lines.replace("\N{NO-BREAK SPACE}", " ")


def held(text: str) -> str:
    """Return a text whose numbers hold on to their units by no-break spaces."""
    return _BEFORE_UNIT.sub("\\1\N{NO-BREAK SPACE}", text)
