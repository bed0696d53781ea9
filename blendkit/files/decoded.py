"""What a decoder hands over: pixels block by block, and what the file carries besides."""

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any, Protocol

from numpy.typing import NDArray

from blendkit.files.ifd import Directory

Codes = NDArray[Any]
"""uint8, uint16 or float32 values as the file has them."""


class Blocks(Protocol):
    """Decodes a picture piece by piece."""

    def __call__(self) -> Iterator[tuple[int, int, int, Codes]]:
        """Yield (top row, left column, first channel, codes of shape (rows, columns, channels))."""


@dataclass(frozen=True, slots=True)
class Decoded:
    """A picture in its file's encoding.

    size: (width, height) in px as stored, before the orientation is applied.
    channels: 1 (grey) or 3.
    bits: 8, 16 or 32 (float).
    inverted: grey with 0 = white.  planar: its channels come one after the other.
    directory: Exif, its first directory; empty if there is none.
    """

    size: tuple[int, int]
    channels: int
    bits: int
    blocks: Blocks
    directory: Directory
    icc_profile: bytes | None = None
    xmp: bytes | None = None
    resolution_dpi: tuple[float, float] | None = None
    orientation: int = 1
    inverted: bool = False
    planar: bool = False
    notes: tuple[str, ...] = ()

    @property
    def top(self) -> float:
        """The code that stands for white."""
        return {8: 255.0, 16: 65535.0, 32: 1.0}[self.bits]


def left_out(name: str, what: str) -> str:
    """Return the sentence on what a file carries and cannot be used."""
    return f"{name}: its {what} is damaged or too large, and was left out; export it again"
