"""Reading a frame: pixels to linear light, orientation applied, what the camera recorded kept."""

from pathlib import Path

import numpy as np

from blendkit.errors import InputError
from blendkit.files import convert, curves, exif, ifd, profiles, raw, xmp
from blendkit.files.curves import Curve
from blendkit.files.decoded import Codes, Decoded, left_out
from blendkit.files.orient import as_stored
from blendkit.files.profiles import Profile
from blendkit.frame import Bool, Embedded, Float, Frame

_Linear = tuple[Float, bytes, tuple[str, ...], Bool | None]

_ROWS_AT_ONCE = 32  # whose values, table and light stay in a cache: half the time of 256
# One 8-bit code below white counts as clipped: JPEG's own rounding moves values that far.
_CLIPPED = 253.5 / 255


def read_frame(path: Path | str, *, match: Frame | None = None, raw_colours: str = "wide") -> Frame:
    """Read a picture as a frame in linear light.

    TIFF (8, 16-bit, float32), PNG (8, 16-bit), JPEG and, with the extra, RAW are read; grey
    becomes RGB; the Exif orientation is applied.  Without an embedded profile the colours are
    taken as sRGB.

    Parameters
    ----------
    path : the file.
    match : a frame whose profile the pixels are brought to; None keeps the file's own.  A RAW is
        developed with its white balance as well.
    raw_colours : profile that a RAW without `match` is developed to, "wide" or "srgb".

    Returns
    -------
    Frame : pixels float32 (height, width, 3), linear.

    Raises
    ------
    InputError : one line that names the file and the next step.
    """
    source = Path(path)
    before = _state(source)
    frame = _read(source, match, raw_colours)
    if _state(source) != before:
        raise InputError(
            f"{source}: changed while it was read; wait until it is written, try again"
        )
    return frame


def _state(path: Path) -> tuple[int, int] | None:
    """Return size and time of the last change; None where there is no such file."""
    try:
        about = path.stat()
    except OSError:
        return None
    return about.st_size, about.st_mtime_ns


def _read(source: Path, match: Frame | None, raw_colours: str) -> Frame:
    if source.suffix.lower() in raw.SUFFIXES:
        _readable(source)
        return raw.read_raw(source, match=match, colours=raw_colours)
    decoded = open_picture(source)
    target = match.embedded.icc_profile if match is not None else None
    pixels, profile, notes, clipped = _linear(decoded, source.name, target)
    packet, said = _packet(decoded, source.name)
    return Frame(
        pixels=pixels,
        capture=exif.capture_of(decoded.directory),
        name=source.name,
        embedded=Embedded(
            icc_profile=profile,
            exif=ifd.dump_block(decoded.directory) if decoded.directory else None,
            xmp=packet,
            resolution_dpi=decoded.resolution_dpi,
        ),
        clip_level=_clip_level(profile),
        bits=decoded.bits,
        notes=decoded.notes + notes + said,
        clipped=clipped,
    )


def _packet(decoded: Decoded, name: str) -> tuple[bytes | None, tuple[str, ...]]:
    """Return the XMP that can be carried on, and what is to be said of the rest."""
    if decoded.xmp is None:
        return None, ()
    if not xmp.is_sound(decoded.xmp):
        return None, (left_out(name, "XMP"),)
    if xmp.EXTENDED in decoded.xmp:
        return decoded.xmp, (f"{name}: a part of its XMP lies in further segments; it is left out",)
    return decoded.xmp, ()


def open_picture(path: Path) -> Decoded:
    """Describe a picture file without decoding its pixels; InputError if it cannot be used."""
    from blendkit.files import decode_png_jpeg, decode_tiff  # noqa: PLC0415 - on use

    try:
        head = _readable(path)
        if head[:4] in (b"II*\0", b"MM\0*", b"II+\0", b"MM\0+"):
            return decode_tiff.decode(path, path.name)
        return decode_png_jpeg.decode(path, path.name)
    except OSError as error:
        raise _unreadable(path, error) from error


def _readable(path: Path) -> bytes:
    """Return the first bytes of a file; InputError if there is none or it is empty."""
    try:
        with path.open("rb") as stream:
            head = stream.read(8)
    except FileNotFoundError as error:
        raise InputError(f"{path}: there is no such file; check the name") from error
    except OSError as error:
        raise _unreadable(path, error) from error
    if not head:
        raise InputError(f"{path.name}: is empty; copy or export it again")
    return head


def _unreadable(path: Path, error: OSError) -> InputError:
    reason = error.strerror or type(error).__name__
    return InputError(f"{path}: cannot be read ({reason}); name a picture file")


def _clip_level(profile: bytes) -> float:
    tones = profiles.parse(profile).curves
    return float(tones[0].decode(np.array([_CLIPPED]))[0]) if tones else _CLIPPED


def _linear(decoded: Decoded, name: str, target: bytes | None) -> _Linear:
    """Return linear pixels, the profile that they are to be encoded with, notes, what is clipped.

    The last is None where the level tells it; a conversion mixes the channels, and what was clipped
    in one of them is below white then.
    """
    own, notes = profile_of(decoded, name)
    if not own.curves:
        wanted = target or profiles.wide()
        pixels = _filled(decoded, (curves.LINEAR,), name)
        clipped = _clipped(pixels, _CLIPPED)
        convert.convert(pixels, own.data, profiles.linear_twin(wanted), name=name)
        np.maximum(pixels, 0, out=pixels)  # colours that the other profile cannot hold
        note = f"{name}: its profile describes colours by tables; converted to another profile"
        return pixels, wanted, (*notes, note), clipped
    pixels = _filled(decoded, own.curves, name)
    if own.space == "GRAY":  # neutral stays neutral in every RGB profile
        return pixels, target or profiles.srgb(), notes, None
    if target is None or target == own.data:
        return pixels, own.data, notes, None
    clipped = _clipped(pixels, _clip_level(own.data))
    convert.between(own.data, target)(pixels)
    note = f"{name}: converted to the colour profile of the background frame"
    return pixels, target, (*notes, note), clipped


def _clipped(pixels: Float, level: float) -> Bool | None:
    """Return where a channel is clipped, bool (height, width); None if it is nowhere."""
    full = pixels[..., 0] >= level
    for channel in (1, 2):
        full |= pixels[..., channel] >= level
    return full if full.any() else None


def profile_of(decoded: Decoded, name: str) -> tuple[Profile, tuple[str, ...]]:
    """Return the profile to take the pixels by; sRGB, with a note, if the file's is of no use."""
    if decoded.icc_profile is None:
        if exif.marked_profile(decoded.directory) == "opRGB":
            return profiles.parse(profiles.oprgb()), (f"{name}: taken as opRGB, as Exif marks it",)
        return profiles.parse(profiles.srgb()), ()
    own = profiles.parse(decoded.icc_profile, name)
    if own.space == "RGB" or (own.space == "GRAY" and decoded.channels == 1):
        return own, ()
    note = f"{name}: carries a profile for {own.space} colours, which it has not; taken as sRGB"
    return profiles.parse(profiles.srgb()), (note,)


def _filled(decoded: Decoded, tones: tuple[Curve, ...], name: str) -> Float:
    """Return the pixels, upright, every channel taken through its tone curve."""
    width, height = decoded.size
    turned = decoded.orientation >= 5
    pixels = np.empty((width, height, 3) if turned else (height, width, 3), np.float32)
    stored = as_stored(pixels, decoded.orientation)
    filled = 0
    for top, left, channel, codes in decoded.blocks():
        rows, columns, depth = codes.shape
        place = stored[top : top + rows, left : left + columns]
        if decoded.channels == 3:
            place = place[..., channel : channel + depth]
        own = tones[channel : channel + depth] if len(tones) == decoded.channels == 3 else tones
        for start in range(0, rows, _ROWS_AT_ONCE):
            part = codes[start : start + _ROWS_AT_ONCE]
            _fill(place[start : start + _ROWS_AT_ONCE], part, decoded, own, name)
        filled += codes.size
    if filled != width * height * decoded.channels:
        raise InputError(f"{name}: is cut short; copy or export it again")
    return pixels


def _fill(
    place: Float, codes: Codes, decoded: Decoded, tones: tuple[Curve, ...], name: str
) -> None:
    if decoded.inverted:
        codes = (decoded.top - codes).astype(codes.dtype)
    if decoded.bits == 32:
        _check_floats(codes, name)
    if len(set(tones)) == 1:
        place[...] = _light(codes, tones[0], decoded)
        return
    for index, tone in enumerate(tones):
        place[..., index] = _light(codes[..., index % codes.shape[-1]], tone, decoded)


def _light(codes: Codes, tone: Curve, decoded: Decoded) -> Float:
    if decoded.bits == 32:
        return tone.to_linear(codes)
    return tone.table(int(decoded.top)).take(codes)


def _check_floats(codes: Codes, name: str) -> None:
    bad = codes.size - int(np.count_nonzero(np.isfinite(codes)))
    if bad:
        raise InputError(
            f"{name}: {bad} values are infinite or not numbers; export it again without them"
        )
    largest = float(np.abs(codes).max())
    if largest > curves.HIGHEST:
        raise InputError(
            f"{name}: has values up to {largest:.3g}, where white is 1; export it again"
        )
