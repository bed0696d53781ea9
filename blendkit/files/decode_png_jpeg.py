"""Decoding of PNG and JPEG: Pillow reads the header, imagecodecs the pixels of a PNG.

Pillow reduces 16-bit colour to 8 bits, so a PNG's pixels are not left to it.
"""

import io
import warnings
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from blendkit.errors import InputError, out_of_memory
from blendkit.files import exif, ifd, png_chunks
from blendkit.files.decoded import Codes, Decoded, left_out
from blendkit.files.limits import MAX_PROFILE_BYTES, MAX_TAG_BYTES, check_claim, check_size
from blendkit.files.quiet import quiet

if TYPE_CHECKING:
    from PIL.Image import Image

_SRGB_GAMMA, _SAME_GAMMA = 2.2, 0.02
"""What gAMA 0.45455 stands for, with which sRGB is marked, and how far another may be from it."""
_SRGB_CORNERS, _SAME_CORNERS = (0.3127, 0.3290, 0.64, 0.33, 0.30, 0.60, 0.15, 0.06), 0.005
"""Chromaticities x, y of sRGB's white, red, green and blue, as cHRM has them, and the same."""
_SRGB_CODES = (1, 13)
"""Primaries and transfer function of sRGB in cICP (ITU-T H.273, tables 2 and 3)."""
_BEYOND_WHITE = {16: "PQ", 18: "HLG"}
"""Transfer functions whose white is not the largest value."""
_REFUSED = {
    "P": "has a colour palette; save it as RGB",
    "PA": "has a colour palette; save it as RGB",
    "CMYK": "is in CMYK, which has no single way back to light; save it as RGB",
    "YCCK": "is in CMYK, which has no single way back to light; save it as RGB",
    "LA": "has an alpha channel; flatten it and save it without alpha",
    "RGBA": "has an alpha channel; flatten it and save it without alpha",
    "1": "has one bit a pixel; save it with 8 or 16 bits",
}


def decode(path: Path, name: str) -> Decoded:
    """Open a PNG or JPEG and describe it; its pixels are decoded when asked for.

    Raises
    ------
    InputError : not a picture that is read here; the message says what to do.
    """
    with _opened(path, name) as image:
        _check_kind(image, name)
        directory, notes = _directory(image, name)
        deep = image.format == "PNG" and image.mode.startswith("I")
        bits = 16 if deep or _png_depth(path, image) == 16 else 8
        channels = 3 if image.mode == "RGB" else 1
        check_size(name, *image.size)
        check_claim(name, image.width * image.height * channels * bits // 8, path.stat().st_size)
        is_png = image.format == "PNG"
        profile = _bytes(image.info.get("icc_profile"), MAX_PROFILE_BYTES)
        packet = _bytes(image.info.get("xmp"), MAX_TAG_BYTES)
        notes = (*notes, *_other_colours(image, name))
        # Pillow puts the segments of a JPEG's profile together; where one is missing, it says None.
        if profile is None and ("icc_profile" in image.info or getattr(image, "icclist", None)):
            notes = (*notes, left_out(name, "colour profile"))
        if packet is None and image.info.get("xmp"):
            notes = (*notes, left_out(name, "XMP"))
        return Decoded(
            size=image.size,
            channels=channels,
            bits=bits,
            blocks=lambda: _blocks(path, name, is_png=is_png),
            directory=directory,
            icc_profile=profile,
            xmp=packet,
            resolution_dpi=_resolution(image) or exif.resolution(directory),
            orientation=exif.orientation(directory),
            notes=notes,
        )


@contextmanager
def _opened(path: Path, name: str) -> "Iterator[Image]":
    from PIL import Image, ImageFile, PngImagePlugin, UnidentifiedImageError  # noqa: PLC0415 - loaded when such a file is read

    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # Pillow warns of damaged Exif; it is noted below
            ImageFile.LOAD_TRUNCATED_IMAGES = False
            Image.MAX_IMAGE_PIXELS = None  # `limits.py` says what is too large, with a reason
            PngImagePlugin.MAX_TEXT_CHUNK = MAX_PROFILE_BYTES  # else 1 MiB: tables have more
            with Image.open(path, formats=("PNG", "JPEG")) as image:
                png_chunks.complete(image)
                yield image
    except InputError:
        raise
    except UnidentifiedImageError as error:
        kind = _rare_jpeg(path)
        if kind:
            raise InputError(
                f"{name}: is {kind}, which is not read; export it as a TIFF, or a JPEG of 8 bits"
            ) from error
        raise InputError(
            f"{name}: is not a TIFF, PNG or JPEG; export it as one of these"
        ) from error
    except Exception as error:
        if out_of_memory(error):
            raise
        reason = " ".join(str(error).replace(str(path), "").split())[:120] or type(error).__name__
        raise InputError(f"{name}: is damaged ({reason}); export it again") from error


_FRAMES, _LOSSLESS = frozenset({*range(0xC0, 0xD0)} - {0xC4, 0xC8, 0xCC}), (0xC3, 0xC7, 0xCB, 0xCF)
"""Markers that begin a JPEG's frame (ITU-T T.81, table B.1), and those of a lossless one."""


def _rare_jpeg(path: Path) -> str:
    """Return what kind of JPEG a file is that Pillow does not know; empty if it is none.

    Its frame header says it: the samples' bits stand behind the marker and its length (T.81,
    B.2.2).
    """
    with path.open("rb") as stream:
        if stream.read(2) != b"\xff\xd8":
            return ""
        while len(head := stream.read(5)) == 5 and head[0] == 0xFF:
            length = int.from_bytes(head[2:4], "big")
            if head[1] in _FRAMES:
                return "a lossless JPEG" if head[1] in _LOSSLESS else f"a JPEG of {head[4]} bits"
            stream.seek(max(length, 2) - 3, 1)
    return ""


def _check_kind(image: "Image", name: str) -> None:
    if image.mode in _REFUSED:
        raise InputError(f"{name}: {_REFUSED[image.mode]}")
    if "transparency" in image.info:
        raise InputError(f"{name}: has a transparent colour; flatten it and save it without alpha")
    if image.mode not in ("RGB", "L", "I", "I;16", "I;16B"):
        raise InputError(f"{name}: is of kind {image.mode}; save it as RGB")


def _other_colours(image: "Image", name: str) -> Iterator[str]:
    """Note a PNG that says by a chunk alone that it is not sRGB (W3C PNG, 11.3.2).

    Of several chunks cICP counts first, then a profile, then sRGB, then gAMA and cHRM.
    """
    info = image.info
    codes = info.get("cicp")
    if codes is not None and codes[1] in _BEYOND_WHITE:
        raise InputError(
            f"{name}: is encoded for HDR screens ({_BEYOND_WHITE[codes[1]]}); export it as sRGB or "
            "with a standard RGB profile, 16 bits a channel"
        )
    if "icc_profile" in info:
        return
    said = []
    if codes is not None:
        if tuple(codes[:2]) != _SRGB_CODES:
            said.append("primaries {} and transfer function {} (cICP)".format(*codes))
    elif "srgb" not in info:
        gamma, corners = info.get("gamma"), info.get("chromaticity")
        if gamma and abs(gamma * _SRGB_GAMMA - 1) > _SAME_GAMMA:
            said.append(f"gamma {gamma:.3g}")
        if corners and not np.allclose(corners, _SRGB_CORNERS, atol=_SAME_CORNERS):
            said.append("other primaries than sRGB's (cHRM)")
    if said:
        yield (
            f"{name}: says {' and '.join(said)} and carries no profile; taken as sRGB: export it "
            "again with its profile, or as sRGB"
        )


def _png_depth(path: Path, image: "Image") -> int:
    # Bit depth stands in the header chunk, byte 24 (W3C PNG, 11.2.1).
    if image.format != "PNG":
        return 8
    with path.open("rb") as stream:
        return stream.read(25)[24]


def orientation_of(image: "Image") -> int:
    """Return the orientation, 1 to 8, of a PNG or JPEG that Pillow has opened.

    Whatever else its Exif holds: Pillow, to turn a picture, writes all of it anew, and stops at a
    value of another kind than the standard's.
    """
    png_chunks.complete(image)
    return exif.orientation(_directory(image, "")[0])


def _directory(image: "Image", name: str) -> tuple[ifd.Directory, tuple[str, ...]]:
    try:
        block = _block(image)
        if block is None:
            return {}, ()
        directory, dropped = ifd.parse(block.removeprefix(b"Exif\0\0"), exif.IFD0_READ)
    except ValueError as error:
        return {}, (f"{name}: its Exif is damaged ({error}) and was left out",)
    notes = (f"{name}: {dropped} damaged Exif values were left out",) if dropped else ()
    return directory, notes


def _block(image: "Image") -> bytes | None:
    block = image.info.get("exif")
    text = image.info.get("Raw profile type exif")
    if block is None and isinstance(text, str):  # a PNG from before eXIf: a name, a length, hex
        block = bytes.fromhex("".join(text.split("\n")[3:]))
    return block if isinstance(block, bytes) else None


def _bytes(value: Any, most: int) -> bytes | None:
    if isinstance(value, str):
        value = value.encode("utf-8")
    return value if isinstance(value, bytes) and 0 < len(value) <= most else None


def _resolution(image: "Image") -> tuple[float, float] | None:
    try:
        across, down = (float(value) for value in image.info["dpi"])
    except (KeyError, TypeError, ValueError):
        return None
    return exif.plausible_dpi(across, down)


def _blocks(path: Path, name: str, *, is_png: bool) -> Iterator[tuple[int, int, int, Codes]]:
    if is_png:
        codes = _png(path, name)
    else:
        with _opened(path, name) as image:
            codes = np.asarray(image)
    yield 0, 0, 0, codes.reshape(*codes.shape[:2], -1)


def _png(path: Path, name: str) -> Codes:
    import imagecodecs  # noqa: PLC0415 - loaded when a PNG is read
    from PIL import Image  # noqa: PLC0415

    data = path.read_bytes()
    try:
        with quiet("imagecodecs"), Image.open(io.BytesIO(data), formats=("PNG",)) as image:
            image.verify()  # the sums of all chunks, which libpng lets pass in part
            return np.asarray(imagecodecs.png_decode(data))
    except Exception as error:
        if out_of_memory(error):
            raise
        reason = " ".join(str(error).split())[:120] or type(error).__name__
        raise InputError(f"{name}: is damaged ({reason}); export it again") from error
