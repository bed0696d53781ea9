"""The circle of confusion: the largest blur disc that still counts as sharp."""

import math

import numpy as np
from numpy.typing import ArrayLike

from blendkit.optics.checks import Values, positive

DIAGONAL_SHARE = 1500.0
"""Convention d/1500 (d/1730 is the stricter one in use)."""

JUST_VISIBLE_MM = 0.2
JUST_VISIBLE_AT_CM = 25.0
"""Convention: a disc of 0.2 mm is just seen on a print at 25 cm; it grows with the distance."""


def circle_of_confusion_mm(
    sensor_mm: tuple[float, float], *, share: float = DIAGONAL_SHARE
) -> float:
    """Return the conventional circle of confusion in mm, the sensor's diagonal over `share`.

    >>> round(circle_of_confusion_mm((36, 24)), 4), round(circle_of_confusion_mm((36, 24),
    ... share=1730), 4)
    (0.0288, 0.025)
    """
    width, height = (float(positive("sensor_mm", side)) for side in sensor_mm)
    return math.hypot(width, height) / float(positive("share", share))


def print_circle_of_confusion_mm(
    sensor_mm: tuple[float, float],
    *,
    print_cm: tuple[float, float],
    viewing_cm: float,
) -> float:
    """Return the disc on the sensor, in mm, that is just visible on a print.

    The picture fills the print, whichever way round the two are held, so a print of another shape
    crops it.

    >>> round(print_circle_of_confusion_mm((36, 24), print_cm=(60, 40), viewing_cm=50), 4)
    0.024
    """
    sides = zip(sorted(print_cm), sorted(sensor_mm), strict=True)
    enlargement = max(
        10 * float(positive("print_cm", long) / positive("sensor_mm", short))
        for long, short in sides
    )
    visible_mm = JUST_VISIBLE_MM * float(positive("viewing_cm", viewing_cm)) / JUST_VISIBLE_AT_CM
    return visible_mm / enlargement


def pixel_pitch_mm(sensor_mm: tuple[float, float], pixels: tuple[int, int]) -> float:
    """Return the distance between pixel centres in mm, for a picture as large as the sensor allows.

    A picture of another shape than the sensor counts as a crop; one held the other way round, as
    a camera that was turned.

    >>> round(pixel_pitch_mm((36, 24), (4000, 6000)), 6)
    0.006
    """
    sides = zip(sorted(sensor_mm), sorted(pixels), strict=True)
    return min(float(positive("sensor_mm", mm) / positive("pixels", px)) for mm, px in sides)


def share_of_height(disc_mm: ArrayLike, sensor_mm: tuple[float, float]) -> Values:
    """Return a blur disc as a fraction of the frame's height, which is what the eye judges."""
    return np.asarray(np.asarray(disc_mm, dtype=np.float64) / positive("sensor_mm", sensor_mm[1]))
