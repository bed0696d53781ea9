"""The sensor behind a photograph, from its focal length and the 35 mm equivalent of that.

The equivalent is the lens that sees as much on a sensor of 36 x 24 mm (Exif 3.0, tag 41989), which
makers compare along the diagonal (common practice, no source).  It is written when the picture is
taken: who crops it later leaves it as it is.
"""

import math

from blendkit.frame import Capture

SENSORS_MM = {
    "full-frame": (36.0, 24.0),
    "aps-c": (23.5, 15.6),
    "four-thirds": (17.3, 13.0),
    "44x33": (43.8, 32.9),
}
"""Width and height in mm by the trade's names (common practice, no source)."""

FULL_FRAME_DIAGONAL_MM = math.hypot(*SENSORS_MM["full-frame"])
"""43.27 mm."""

SHAPES = (3 / 2, 4 / 3)
"""Long over short side of the sensors in use."""

SAME_SHAPE = 0.02
"""Pictures leave out a rim of the sensor, so shapes agree to this share."""

SAME_DIAGONAL = 0.015
"""Equivalent focal lengths are written in whole mm."""


def recorded_sensor_mm(
    focal_length_mm: float, equivalent_mm: float, pixels: tuple[int, int]
) -> tuple[tuple[float, float], str]:
    """Return a sensor's (long, short) side in mm, and a sentence where a crop was assumed.

    A sensor of the trade that has the diagonal is taken; else one of the picture's shape, where
    that is 3:2 or 4:3; else one of 3:2.  A picture of another shape than the sensor is a crop of
    it.  The sentence is empty where it is none.

    >>> recorded_sensor_mm(75, 150, (5184, 3888)), recorded_sensor_mm(90, 135, (6000, 4000))
    (((17.3, 13.0), ''), ((24.0, 16.0), ''))
    >>> recorded_sensor_mm(135, 135, (3200, 4000))[0]
    (36.0, 24.0)
    """
    diagonal_mm = FULL_FRAME_DIAGONAL_MM * focal_length_mm / equivalent_mm
    sensor_mm = _known_mm(diagonal_mm)
    if sensor_mm is None:
        shape = next((one for one in SHAPES if _agree(pixels, one)), SHAPES[0])
        short_mm = diagonal_mm / math.hypot(shape, 1)
        sensor_mm = round(shape * short_mm, 1), round(short_mm, 1)
    if _agree(pixels, sensor_mm[0] / sensor_mm[1]):
        return sensor_mm, ""
    return sensor_mm, (
        f"the picture of {pixels[0]} x {pixels[1]} px is taken for a crop of a sensor of"
        f" {sensor_mm[0]:g} x {sensor_mm[1]:g} mm, by its 35 mm equivalent of"
        f" {equivalent_mm:g} mm; give --sensor if it was another"
    )


def px_per_mm(capture: Capture, size: tuple[int, int]) -> float:
    """Return how many px of a picture of size (width, height) cover a mm of its sensor.

    A picture that fits its sensor's shape fills its long side; a crop is taken to keep the
    sensor's short side or its long one, whichever it can.  36 x 24 mm where nothing is recorded.

    >>> round(px_per_mm(Capture(), (6000, 4000)), 2)
    166.67
    >>> crop = Capture(focal_length_mm=135, focal_length_35mm=135)
    >>> [round(px_per_mm(crop, size), 2) for size in ((3200, 4000), (4000, 2000))]
    [133.33, 111.11]
    """
    sensor_mm = SENSORS_MM["full-frame"]
    if capture.focal_length_mm and capture.focal_length_35mm:
        recorded = capture.focal_length_mm, capture.focal_length_35mm
        sensor_mm, _ = recorded_sensor_mm(*recorded, size)
    return max(max(size) / max(sensor_mm), min(size) / min(sensor_mm))


def _known_mm(diagonal_mm: float) -> tuple[float, float] | None:
    def off(sensor_mm: tuple[float, float]) -> float:
        return abs(math.hypot(*sensor_mm) / diagonal_mm - 1)

    nearest = min(SENSORS_MM.values(), key=off)
    return nearest if off(nearest) < SAME_DIAGONAL else None


def _agree(pixels: tuple[int, int], shape: float) -> bool:
    return abs(max(pixels) / min(pixels) / shape - 1) < SAME_SHAPE
