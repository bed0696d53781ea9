"""Exif for a frame that no camera wrote, from its `Capture`."""

import math
from fractions import Fraction

from blendkit.files import exif, ifd
from blendkit.files.ifd import Directory, Entry
from blendkit.frame import Capture

_LARGEST = 0xFFFFFFFE
_A_WHOLE_PART = 1e-3
"""How near to 1/n a value below 1 must lie to be written as that: 1/16000 s, not 1/10000."""
_INFINITY = 0xFFFFFFFF  # numerator of an infinite subject distance (CIPA DC-008, SubjectDistance)


def directory_of(capture: Capture) -> Directory:
    """Return the first directory of an Exif block that says what a `Capture` says."""
    details: Directory = {
        tag: rational(value)
        for tag, value in (
            (exif.F_NUMBER, capture.f_number),
            (exif.EXPOSURE_TIME, capture.exposure_time_s),
            (exif.FOCAL_LENGTH, capture.focal_length_mm),
            (exif.SUBJECT_DISTANCE, capture.focus_distance_m),
        )
        if value is not None
    }
    if capture.iso is not None:
        details[exif.ISO] = ifd.short_entry(min(round(capture.iso), 65535))
    if capture.lens:
        details[exif.LENS_MODEL] = ifd.ascii_entry(capture.lens)
    if capture.flash_fired is not None:
        details[exif.FLASH] = ifd.short_entry(int(capture.flash_fired))
    details |= _time(capture)
    texts = ((exif.MODEL, capture.camera), (exif.COPYRIGHT, capture.copyright))
    result: Directory = {tag: ifd.ascii_entry(text) for tag, text in texts if text}
    return result | ({ifd.EXIF: details} if details else {})


def _time(capture: Capture) -> Directory:
    moment = capture.captured_at
    if moment is None:
        return {}
    found: Directory = {
        exif.ORIGINAL_TIME: ifd.ascii_entry(moment.strftime("%Y:%m:%d %H:%M:%S")),
        exif.ORIGINAL_SUBSEC: ifd.ascii_entry(f"{moment.microsecond:06d}".rstrip("0") or "0"),
    }
    if moment.tzinfo is not None:
        found[exif.ORIGINAL_OFFSET] = ifd.ascii_entry(exif.offset_text(moment))
    return found


def rational(value: float) -> Entry:
    """Return a value as the nearest fraction that cameras would write, as 1/125 for 0.008."""
    if math.isinf(value):
        return ifd.rational_entry((_INFINITY, 1))
    if 0 < value < 1 and abs(value * round(1 / value) - 1) < _A_WHOLE_PART:
        return ifd.rational_entry((1, min(round(1 / value), _LARGEST)))
    near = Fraction(min(value, _LARGEST)).limit_denominator(10_000)
    while near.numerator > _LARGEST:
        near = near.limit_denominator(max(near.denominator // 2, 1))
    return ifd.rational_entry((near.numerator, near.denominator))
