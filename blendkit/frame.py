"""A frame, and what the camera recorded with it: the records that all stages share.

Pixels are float32 in linear light, shape (height, width, 3), 1.0 = the white of the file's
encoding.  Arrays index (row, column); points and sizes are (x, y) in px, and the centre of the
top-left pixel is (0, 0).
"""

from dataclasses import dataclass, field, replace
from datetime import datetime
from enum import IntEnum
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

Float = NDArray[np.float32]
"""float32 array; its shape is given by the docstring of whoever takes or returns it."""
Bool = NDArray[np.bool_]
Label = NDArray[np.uint8]
Matrix = NDArray[np.float64]
"""A 3x3 transform of homogeneous (x, y, 1), background px to foreground px."""

LUMINANCE_WEIGHTS = np.array([0.2126, 0.7152, 0.0722], dtype=np.float32)
"""Share of linear red, green and blue in luminance (ITU-R BT.709-6, item 3.2)."""


_SPOKEN_AS_FRACTION_S = 0.3
"""Exposure time below which cameras and people say 1/n s."""


@dataclass(frozen=True, slots=True)
class Capture:
    """What the camera recorded; None = the file does not say.

    f_number is nominal (2.8 for 2.83), as every camera writes it.
    focal_length_35mm: of the lens that sees as much on 36 x 24 mm, mm (Exif 3.0, 41989).
    """

    f_number: float | None = None
    exposure_time_s: float | None = None
    iso: float | None = None
    focal_length_mm: float | None = None
    focus_distance_m: float | None = None
    captured_at: datetime | None = None
    camera: str | None = None
    lens: str | None = None
    copyright: str | None = None
    flash_fired: bool | None = None
    focal_length_35mm: float | None = None

    @property
    def shutter(self) -> str:
        """Return the exposure time as it is spoken of, empty if not recorded.

        >>> Capture(exposure_time_s=0.003125).shutter, Capture(exposure_time_s=2.0).shutter
        ('1/320 s', '2 s')
        """
        time_s = self.exposure_time_s
        if not time_s:
            return ""
        return f"1/{1 / time_s:.0f} s" if time_s < _SPOKEN_AS_FRACTION_S else f"{time_s:g} s"

    @property
    def exposure(self) -> str:
        """Return how a frame was exposed, in a few words, empty if not recorded.

        >>> Capture(f_number=2.8, exposure_time_s=1 / 320, iso=100.0).exposure
        'f/2.8, 1/320 s, ISO 100'
        """
        aperture = f"f/{self.f_number:g}" if self.f_number else ""
        gain = f"ISO {self.iso:g}" if self.iso else ""
        return ", ".join(part for part in (aperture, self.shutter, gain) if part)


@dataclass(frozen=True, slots=True)
class Embedded:
    r"""What a file carries besides its pixels, passed on to the result unread.

    icc_profile, exif (a TIFF-structured block, without the "Exif\0\0" marker) and xmp are bytes;
    resolution_dpi is (x, y).
    """

    icc_profile: bytes | None = None
    exif: bytes | None = None
    xmp: bytes | None = None
    resolution_dpi: tuple[float, float] | None = None


@dataclass(frozen=True, eq=False, slots=True)
class Frame:
    """One picture in linear light.

    pixels: float32 (height, width, 3), linear, 1.0 = the encoding's white.
    name: how messages call it (its file name).
    clip_level: value from which a channel counts as clipped.
    notes: sentences about what reading it had to drop or assume.
    white_balance: multipliers (r, g, b, g2) that a RAW was developed with, for its partner too.
    clipped: where a RAW's sensor was full, or a file was clipped before its colours were converted,
        bool (height, width); None = judge by clip_level.
    """

    pixels: Float
    capture: Capture = field(default_factory=Capture)
    name: str = "frame"
    embedded: Embedded = field(default_factory=Embedded)
    clip_level: float = 0.995
    bits: int = 16
    notes: tuple[str, ...] = ()
    white_balance: tuple[float, ...] | None = None
    clipped: Bool | None = None

    @property
    def size(self) -> tuple[int, int]:
        """(width, height) in px."""
        return self.pixels.shape[1], self.pixels.shape[0]

    @property
    def recorded(self) -> "Frame":
        """The frame without its light: its pixels are not a number, and take no memory."""
        unknown = np.broadcast_to(np.float32(np.nan), self.pixels.shape)
        return replace(self, pixels=unknown, clipped=None)


@dataclass(frozen=True, eq=False, slots=True)
class Warped:
    """A resampled array and its footprint: True where every contributing pixel was real."""

    pixels: Float
    footprint: Bool


class Progress(Protocol):
    """Told what runs: stage name and the share done, 0 to 1."""

    def __call__(self, stage: str, share: float, /) -> None:
        """Take note of it; may raise to cancel the work."""


def no_progress(stage: str, share: float, /) -> None:
    """Ignore progress."""


def luminance(pixels: Float) -> Float:
    """Return linear luminance, shape (height, width), of linear pixels (height, width, 3)."""
    return pixels @ LUMINANCE_WEIGHTS


class Source(IntEnum):
    """Where a pixel of the result came from: the values of the source map."""

    BACKGROUND_FRAME = 1
    FOREGROUND_FRAME = 2
    MATTE_EDGE = 3
    PLATE_DIVIDED = 4
    PLATE_RERENDERED = 5
    CLEAR_FRAME = 6
    BRIDGE_FRAME = 7
    REPAIRED = 8
