"""Exposure: what engraved f-numbers and shutter times mean, steps between them, and light.

Source: APEX, Exif standard (CIPA DC-008) annex C: Av = 2 log2 N, Tv = -log2 t, EV = Av + Tv.  The
engraved series are rounded; the mechanism runs in thirds of exact steps.
"""

import math

import numpy as np
from numpy.typing import ArrayLike

from blendkit.optics.checks import Values, positive
from blendkit.optics.diffraction import LARGEST_F_NUMBER

MARKED_F_NUMBERS = (
    *(0.5, 0.56, 0.63, 0.7, 0.8, 0.9, 1.0, 1.1, 1.2, 1.4, 1.6, 1.8, 2.0, 2.2, 2.5, 2.8, 3.2, 3.5),
    *(4.0, 4.5, 5.0, 5.6, 6.3, 7.1, 8.0, 9.0, 10.0, 11.0, 13.0, 14.0, 16.0, 18.0, 20.0, 22.0),
    *(25.0, 29.0, 32.0, 36.0, 40.0, 45.0, 51.0, 57.0, 64.0),
)
"""Engraved in thirds of a step from Av = -2 (the usual marked series; beyond 32 from memory)."""

MARKED_SHUTTERS_S = (
    *(1 / n for n in (32000, 25600, 20000, 16000, 12800, 10000)),
    *(1 / n for n in (8000, 6400, 5000, 4000, 3200, 2500, 2000, 1600, 1250, 1000, 800, 640, 500)),
    *(1 / n for n in (400, 320, 250, 200, 160, 125, 100, 80, 60, 50, 40, 30, 25, 20, 15, 13, 10)),
    *(1 / n for n in (8, 6, 5, 4)),
    *(0.3, 0.4, 0.5, 0.6, 0.8, 1.0, 1.3, 1.6, 2.0, 2.5, 3.2, 4.0, 5.0, 6.0, 8.0, 10.0, 13.0),
    *(15.0, 20.0, 25.0, 30.0),
)
"""Displayed in thirds of a step from Tv = 15 down to Tv = -5 (common practice, no source)."""

_A_THIRD, _HALF_A_THIRD = 2 ** (1 / 3), 2 ** (1 / 6)
SAME_MARK = 0.005
"""How far, as a share, a number may lie from a mark and still be that mark as Exif rounds it."""


def exact_f_number(nominal: float) -> float:
    """Return what an engraved f-number means, 2^(Av/2); one that is not a mark is taken as it is.

    >>> round(exact_f_number(2.8), 4), round(exact_f_number(11), 4), exact_f_number(1.7)
    (2.8284, 11.3137, 1.7)
    """
    value = float(positive("f_number", nominal))
    marks = np.asarray(MARKED_F_NUMBERS)
    index = int(np.argmin(np.abs(marks / value - 1)))
    return 2.0 ** (index / 6 - 1) if abs(marks[index] / value - 1) < SAME_MARK else value


def exact_shutter_s(nominal_s: float) -> float:
    """Return what a displayed shutter time means in s; one that is not a mark is taken as it is.

    >>> exact_shutter_s(1 / 125) == 1 / 128
    True
    """
    value = float(positive("exposure_time_s", nominal_s))
    marks = np.asarray(MARKED_SHUTTERS_S)
    index = int(np.argmin(np.abs(marks / value - 1)))
    return 2.0 ** (index / 3 - 15) if abs(marks[index] / value - 1) < SAME_MARK else value


def marked_f_number_from(exact: float) -> float | None:
    """Return the smallest engraved f-number that stops down at least so far; None beyond f/64.

    >>> marked_f_number_from(11.5), marked_f_number_from(11.2), marked_f_number_from(70)
    (13.0, 11.0, None)
    """
    wanted = float(positive("f_number", exact)) * (1 - 1e-9)
    reach = (mark for mark in MARKED_F_NUMBERS if exact_f_number(mark) >= wanted)
    return next(reach, None)


def shrinking_f_number(f_number: float, times: float) -> float | None:
    """Return the engraved f-number, up to f/22, for discs so many times smaller; None = none.

    It is past the f-number given, as engraved, unless discs may be as large as they are.

    >>> shrinking_f_number(8, 2.25), shrinking_f_number(16, 1.002), shrinking_f_number(16, 1.4)
    (18.0, 18.0, 22.0)
    >>> shrinking_f_number(2, 1.2), shrinking_f_number(16, 1.5)
    (2.5, None)
    """
    exact = exact_f_number(f_number)
    # No disc is measured to the share by which a number may miss a mark and still be it.
    least = exact * float(positive("times", times)) * (1 - SAME_MARK)
    marked = marked_f_number_from(max(least, exact * (1 + SAME_MARK)) if times > 1 else least)
    return None if marked is None or marked > LARGEST_F_NUMBER else marked


def marked_shutter_s(exact_s: float) -> float:
    """Return the displayed shutter time nearest in steps; beyond all of them the time itself.

    >>> round(1 / marked_shutter_s(1 / 127)), marked_shutter_s(64)
    (125, 64)
    >>> marked_shutter_s(32.0), marked_shutter_s(31.0)
    (30.0, 30.0)
    """
    value = float(positive("exposure_time_s", exact_s))
    longest = exact_shutter_s(MARKED_SHUTTERS_S[-1])
    if value > longest * _HALF_A_THIRD or value < MARKED_SHUTTERS_S[0] / _A_THIRD:
        return exact_s
    return min(MARKED_SHUTTERS_S, key=lambda mark: abs(math.log2(exact_shutter_s(mark) / value)))


def steps_between(f_number: ArrayLike, other: ArrayLike) -> Values:
    """Return the steps (EV) of light lost from one f-number to the other, 2 log2(other / first).

    >>> float(steps_between(2, 16))
    6.0
    """
    return np.asarray(2 * np.log2(positive("f_number", other) / positive("f_number", f_number)))


def exposure_value(f_number: ArrayLike, exposure_time_s: ArrayLike) -> Values:
    """Return EV = log2(N^2 / t).

    >>> float(exposure_value(exact_f_number(11), exact_shutter_s(1 / 30)).round(9))
    12.0
    """
    time = positive("exposure_time_s", exposure_time_s)
    return np.asarray(np.log2(positive("f_number", f_number) ** 2 / time))


def luminance_cd_m2(ev: ArrayLike, *, calibration: float = 12.5) -> Values:
    """Return the luminance that an EV at ISO 100 meters, K 2^EV / 100 (ISO 2720: K 10.6-13.4)."""
    return np.asarray(calibration / 100 * np.exp2(np.asarray(ev, dtype=np.float64)))


def illuminance_lx(ev: ArrayLike, *, calibration: float = 250.0) -> Values:
    """Return the illuminance that an EV at ISO 100 meters, C 2^EV / 100 (ISO 2720: C 240-400)."""
    return np.asarray(calibration / 100 * np.exp2(np.asarray(ev, dtype=np.float64)))


def bellows_factor(magnification: ArrayLike, *, pupil: ArrayLike = 1.0) -> Values:
    """Return how many times longer a close-up exposes, (1 + m/P)^2.

    >>> float(bellows_factor(0.5))
    2.25
    """
    return np.asarray((1 + np.asarray(magnification) / positive("pupil", pupil)) ** 2)


def loss_ev(lost_share: float) -> float:
    """Return a share of light lost, 0 to below 1, in steps.

    >>> round(loss_ev(0.4), 2)
    0.74
    """
    return -math.log2(float(positive("light left", 1 - lost_share)))
