"""Writing results: pictures, mattes, labels; whole or not at all, never over an input."""

from collections.abc import Sequence
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from blendkit import __version__
from blendkit.errors import InputError, OutputError
from blendkit.files import encode, encode_png_jpeg, encode_tiff, exif, exif_make, ifd, profiles, xmp
from blendkit.files.atomic import atomic
from blendkit.files.encode_tiff import Attached
from blendkit.files.read import open_picture
from blendkit.frame import Float, Frame, Label

SOFTWARE = f"blendkit {__version__}"
_DEFAULT_BITS = {".tif": 16, ".tiff": 16, ".png": 16, ".jpg": 8, ".jpeg": 8}
_ALLOWED_BITS = {".tif": (8, 16, 32), ".tiff": (8, 16, 32), ".png": (8, 16)}
_DPI = (300.0, 300.0)
JPEG_QUALITY = 95


def write_picture(
    path: Path | str,
    pixels: Float,
    *,
    like: Frame,
    bits: int | None = None,
    software: str = SOFTWARE,
    second: Frame | None = None,
    inputs: Sequence[Path | str] = (),
    private: bool = False,
    quality: int = JPEG_QUALITY,
) -> None:
    """Write a picture with the profile, resolution and Exif of the frame that it came from.

    Parameters
    ----------
    path : .tif, .tiff, .png, .jpg or .jpeg.
    pixels : float32 (height, width, 3), linear, in the profile of `like`.
    like : the background frame.
    bits : 8, 16 or 32 (float, TIFF only); None takes 16, for JPEG 8.
    software : for the tag Software.
    second : the foreground frame, whose exposure is noted.
    inputs : files that must not be overwritten.
    private : leave out position, owner and serial numbers.
    quality : of a JPEG, 1 to 100.

    Raises
    ------
    InputError : a suffix or depth that is not written, or more pixels a side than a JPEG has.
    OutputError : it cannot be written there.
    """
    target = Path(path)
    depth = depth_of(target, bits)
    size = pixels.shape[1], pixels.shape[0]
    encode_png_jpeg.check_sides(target, size)
    attached = attachments(like, size, software=software, second=second, private=private)
    profile = attached.profile or profiles.srgb()
    with atomic(target, inputs) as temporary:
        codes = encode.encoded(pixels, profile, depth)
        _write_codes(temporary, codes, attached, quality)


def _write_codes(path: Path, codes: NDArray[Any], attached: Attached, quality: int) -> None:
    suffix = path.suffix.lower()
    if suffix == ".png":
        encode_png_jpeg.write_png(path, codes, attached)
    elif suffix in (".tif", ".tiff"):
        encode_tiff.write_tiff(path, codes, attached)
    else:
        encode_png_jpeg.write_jpeg(path, codes, attached, quality=quality, subsampling="4:4:4")


def attachments(
    like: Frame,
    size: tuple[int, int],
    *,
    software: str = SOFTWARE,
    second: Frame | None = None,
    private: bool = False,
    profile: bytes | None = None,
) -> Attached:
    """Return what a result of `size` (width, height) carries besides its pixels.

    Exif, XMP and resolution are those of `like`, the background frame, and so is the profile; of a
    copy in a `profile` of its own `like` is the result, whose note of the merge stays.
    """
    now = datetime.now(UTC).astimezone()
    own = like.embedded.icc_profile or profiles.srgb()
    directory = exif.carried(
        _directory(like),
        size=size,
        software=software,
        changed_at=now,
        private=private,
        srgb=profiles.is_srgb(profile or own),
    )
    noted = {}
    if profile is not None:
        noted = xmp.properties_of(like.embedded.xmp) | {xmp.COPY_OF: like.name}
    if second is not None:
        noted = xmp.exposure_note(like, second)
    packet, _ = xmp.merged(
        like.embedded.xmp, noted, software=software, changed_at=now, private=private
    )
    return Attached(
        directory=directory,
        profile=profile or own,
        xmp=packet,
        resolution_dpi=like.embedded.resolution_dpi or _DPI,
    )


def without_room(
    path: Path, like: Frame, *, second: Frame, private: bool = False
) -> tuple[str, ...]:
    """Say what of the background frame's Exif and XMP a result of this name has no room for."""
    if path.suffix.lower() not in encode_png_jpeg.JPEG:
        return ()
    attached = attachments(like, like.size, second=second, private=private)
    clauses = encode_png_jpeg.too_large(attached)
    return tuple(f"{path.name}: {clause}; name a .tif to keep it" for clause in clauses)


def _directory(frame: Frame) -> ifd.Directory:
    if frame.embedded.exif is None:
        return exif_make.directory_of(frame.capture)
    try:
        return ifd.parse(frame.embedded.exif, exif.IFD0_READ)[0]
    except ValueError:
        return {}


def software_of(path: Path) -> str:
    """Return what a picture file says in its tag Software, "" for nothing.

    Raises
    ------
    InputError : it cannot be read as a picture.
    """
    return exif.text(open_picture(path).directory, exif.SOFTWARE) or ""


def depth_of(path: Path, bits: int | None = None) -> int:
    """Return the bits a picture is written at; None takes the usual of its kind of file.

    Raises
    ------
    InputError : a suffix that is not written, or a depth that it cannot hold.
    """
    suffix = path.suffix.lower()
    if suffix not in _DEFAULT_BITS:
        raise InputError(f"{path}: name a .tif, .tiff, .png, .jpg or .jpeg file as output")
    allowed = _ALLOWED_BITS.get(suffix, (8,))
    if bits is not None and bits not in allowed:
        listed = ", ".join(map(str, allowed))
        raise InputError(f"{path}: {bits} bits cannot be stored in {suffix}; choose {listed}")
    return bits or _DEFAULT_BITS[suffix]


def write_grey(
    path: Path | str,
    values: Float,
    *,
    bits: int = 16,
    inputs: Sequence[Path | str] = (),
    layer: str = "",
) -> None:
    """Write values 0 to 1, shape (height, width), as greyscale TIFF or PNG without a curve.

    layer: which layer of a merge it is, noted in its XMP; empty for what is none.
    """
    target = Path(path)
    depth = depth_of(target, bits)
    if target.suffix.lower() in encode_png_jpeg.JPEG:
        raise InputError(f"{target}: a matte or mask is written as .tif or .png; change the name")
    with atomic(target, inputs) as temporary:
        codes = encode.quantised(values, depth)
        _write_codes(temporary, codes, _as_layer(layer), JPEG_QUALITY)


def _as_layer(layer: str) -> Attached:
    return Attached(xmp=xmp.layer_note(layer)) if layer else Attached()


def check_labels(path: Path) -> None:
    """Raise OutputError unless labels can be written under this name."""
    if path.suffix.lower() != ".png":
        raise OutputError(f"{path}: labels are written as .png; change the name")


def write_labels(
    path: Path | str, labels: Label, *, inputs: Sequence[Path | str] = (), layer: str = ""
) -> None:
    """Write labels, uint8 (height, width), unchanged as an 8-bit greyscale PNG.

    layer: as for `write_grey`.
    """
    target = Path(path)
    check_labels(target)
    with atomic(target, inputs) as temporary:
        encode_png_jpeg.write_png(temporary, np.asarray(labels, np.uint8), _as_layer(layer))


def write_rgba(
    path: Path | str,
    pixels: Float,
    alpha: Float,
    *,
    like: Frame,
    bits: int = 16,
    second: Frame | None = None,
    inputs: Sequence[Path | str] = (),
    private: bool = False,
) -> None:
    """Write colours with straight (not premultiplied) alpha as a TIFF.

    pixels : float32 (height, width, 3), linear; alpha : float32 (height, width), 0 to 1; the others
    as for `write_picture`.
    """
    target = Path(path)
    attached = attachments(like, alpha.shape[::-1], second=second, private=private)
    profile = attached.profile or profiles.srgb()
    with atomic(target, inputs) as temporary:
        colours = encode.encoded(pixels, profile, bits)
        cover = encode.quantised(alpha, bits)
        encode_tiff.write_tiff(temporary, np.dstack([colours, cover]), attached)
