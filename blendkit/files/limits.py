"""How large a picture may claim to be before any memory is set aside for it.

A header is a claim: a file of a few bytes can announce terabytes.  A claim is believed only if the
picture fits the sides and pixels below *and* the file is large enough to hold it at the best ratio
that its compression can reach.
"""

from blendkit.errors import InputError

MAX_SIDE_PX = 100_000
"""Longest side that is read: a row of a stitched picture, ten times that of a large sensor."""

MAX_PIXELS = 600_000_000
"""Most pixels that are read, six times a large sensor: 7.2 GB as a frame."""

MAX_COMPRESSION = 2_800
"""Largest honest ratio: LZW packs 4096 bytes into 12 bits (2731); deflate stops at 1032."""

MAX_ZSTANDARD = 33_000
"""The same of Zstandard, which packs 128 KiB of one value into 4 bytes (RFC 8878, RLE_Block)."""

MAX_PROFILE_BYTES = 16 << 20
"""Largest colour profile taken in; output profiles with dense tables have about 4 MB."""

MAX_TAG_BYTES = 4 << 20
"""Largest single value taken from Exif or TIFF directories."""


def check_size(name: str, width: int, height: int) -> None:
    """Raise InputError if a picture of this size (px) is empty or beyond what is read."""
    if width < 1 or height < 1:
        raise InputError(f"{name}: has no pixels ({width} x {height}); export the picture again")
    if max(width, height) > MAX_SIDE_PX or width * height > MAX_PIXELS:
        raise InputError(
            f"{name}: announces {width} x {height} px; up to {MAX_SIDE_PX} px a side and "
            f"{MAX_PIXELS // 10**6} megapixels are read: scale it down or export it again"
        )


def check_claim(
    name: str, decoded_bytes: int, stored_bytes: int, *, ratio: int = MAX_COMPRESSION
) -> None:
    """Raise InputError if a file of stored_bytes cannot hold decoded_bytes of pixels.

    ratio : the largest that its compression reaches.
    """
    if decoded_bytes > stored_bytes * ratio + 65_536:
        raise InputError(
            f"{name}: announces {decoded_bytes} bytes of pixels but the file has only "
            f"{stored_bytes}; it is damaged: export it again"
        )
