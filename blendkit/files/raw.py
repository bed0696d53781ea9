"""Camera RAW, developed to linear light by LibRaw (rawpy, an extra).

Nothing depends on the picture: no automatic brightness, the white level is the sensor's own.  Both
frames of a pair are developed with the white balance of the background frame, so that what is
left between them is exposure alone.

References
----------
.. [1] ITU-R BT.2020-2, table 3: the primaries that LibRaw's Rec2020 output has.
"""

from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from blendkit.errors import InputError, out_of_memory
from blendkit.files import convert, exif, ifd, profiles
from blendkit.files.exif_raw import directory_of_raw
from blendkit.files.limits import check_size
from blendkit.files.orient import as_stored
from blendkit.frame import Bool, Embedded, Float, Frame

if TYPE_CHECKING:
    import rawpy

SUFFIXES = frozenset(
    {
        ".3fr", ".arw", ".cr2", ".cr3", ".crw", ".dcr", ".dng", ".erf", ".fff",
        ".iiq", ".kdc", ".mef", ".mos", ".mrw", ".nef", ".nrw", ".orf", ".pef",
        ".raf", ".raw", ".rw2", ".rwl", ".sr2", ".srf", ".srw", ".x3f",
    }
)  # fmt: skip
"""Suffixes that are developed as RAW (LibRaw 0.22 opens them; a TIFF in disguise is refused)."""

COLOURS = {"wide": profiles.wide, "srgb": profiles.srgb}
"""Profiles that a RAW can be developed to."""

# LibRaw's flips to Exif orientations: bit 1 turns left and right round, bit 2 top and bottom, and
# then bit 4 puts rows for columns.
_ORIENTATIONS = {0: 1, 1: 2, 2: 4, 3: 3, 4: 5, 5: 8, 6: 6, 7: 7}
TRANSPOSING = 4
"""The bit of LibRaw's flip that makes width of height."""


def available() -> bool:
    """Return whether the extra that develops RAW is installed."""
    try:
        import exifread  # noqa: F401, PLC0415 - only asks whether it is there
        import rawpy  # noqa: F401, PLC0415
    except ImportError:
        return False
    return True


def read_raw(path: Path, *, match: Frame | None = None, colours: str = "wide") -> Frame:
    """Develop a RAW to linear light.

    Parameters
    ----------
    path : the RAW.
    match : the background frame: its white balance and its profile are used.
    colours : "wide" (BT.2020's primaries) or "srgb", without `match`.

    Returns
    -------
    Frame : 1.0 = the sensor's white level; `clipped` marks where the sensor was full.

    Raises
    ------
    InputError : the extra is missing, or LibRaw cannot open the file.
    """
    if not available():
        raise InputError(
            f"{path.name}: is a camera RAW; install blendkit[raw] to read it, "
            "or export a 16-bit TIFF"
        )
    if colours not in COLOURS:
        raise InputError(f"colours = {colours!r}: choose one of {', '.join(COLOURS)}")
    import rawpy  # noqa: PLC0415 - an extra

    balance = match.white_balance if match is not None else None
    try:
        with rawpy.imread(str(path)) as raw:
            check_size(path.name, raw.sizes.width, raw.sizes.height)
            chosen = balance or _balance(raw)
            pixels, clipped = _developed(raw, chosen), _clipped(raw)
    except (rawpy.LibRawError, OSError, ValueError) as error:
        if out_of_memory(error):
            raise
        raise InputError(
            f"{path.name}: {_reason(error)}; copy it again or export a TIFF"
        ) from error
    directory, notes = directory_of_raw(path)
    frame = Frame(
        pixels=pixels,
        capture=exif.capture_of(directory),
        name=path.name,
        embedded=Embedded(profiles.wide(), ifd.dump_block(directory) if directory else None),
        notes=(*notes, *_notes(path.name, clipped, shared=balance is not None)),
        white_balance=chosen,
        clipped=clipped,
    )
    target = match.embedded.icc_profile or profiles.srgb() if match else COLOURS[colours]()
    return _in_profile(frame, target)


def _reason(error: BaseException) -> str:
    detail = error.args[0] if error.args else type(error).__name__
    detail = detail.decode("ascii", "replace") if isinstance(detail, bytes) else str(detail)
    return f"is damaged or not a RAW that LibRaw knows ({' '.join(detail.split())[:100]})"


def _balance(raw: "rawpy.RawPy") -> tuple[float, ...]:
    """Return the camera's white balance, daylight's where it recorded none."""
    recorded = [float(value) for value in raw.camera_whitebalance]
    if min(recorded[:3]) <= 0:
        recorded = [float(value) for value in raw.daylight_whitebalance]
    return tuple(recorded)


def _developed(raw: "rawpy.RawPy", balance: tuple[float, ...]) -> Float:
    import rawpy  # noqa: PLC0415 - an extra

    codes = raw.postprocess(
        gamma=(1, 1),
        no_auto_bright=True,
        adjust_maximum_thr=0.0,  # else the white level would follow the brightest pixel
        highlight_mode=rawpy.HighlightMode.Clip,
        user_wb=list(balance),
        output_color=rawpy.ColorSpace.Rec2020,
        output_bps=16,
    )
    return np.multiply(codes, np.float32(1 / 65535), dtype=np.float32)


def _clipped(raw: "rawpy.RawPy") -> Bool | None:
    """Return where the sensor was full, one pixel wider because demosaicing spreads it."""
    if raw.raw_image_visible.ndim != 2:
        return None
    levels = raw.camera_white_level_per_channel or [raw.white_level] * 4
    full = np.asarray(levels, np.float32)[raw.raw_colors_visible % len(levels)]
    stored = raw.raw_image_visible >= np.minimum(full, raw.white_level)
    wide = stored.copy()
    for axis in (0, 1):
        spread = wide.copy()
        low, high = [slice(None)] * 2, [slice(None)] * 2
        low[axis], high[axis] = slice(None, -1), slice(1, None)
        spread[tuple(low)] |= wide[tuple(high)]
        spread[tuple(high)] |= wide[tuple(low)]
        wide = spread
    orientation = _ORIENTATIONS.get(raw.sizes.flip, 1)
    shape = wide.shape[::-1] if orientation >= 5 else wide.shape
    upright = np.empty(shape, bool)
    as_stored(upright, orientation)[...] = wide
    return upright


def _notes(name: str, clipped: Bool | None, *, shared: bool) -> tuple[str, ...]:
    whose = "of the background frame" if shared else "as the camera recorded it"
    notes = [f"{name}: developed from RAW with the white balance {whose}"]
    share = float(clipped.mean()) if clipped is not None else 0.0
    if share > 0:
        notes.append(f"{name}: the sensor was full on {share:.2%} of the picture")
    return tuple(notes)


def _in_profile(frame: Frame, target: bytes) -> Frame:
    own = frame.embedded.icc_profile
    if own is None or target == own:
        return frame
    convert.between(own, target)(frame.pixels)
    return replace(frame, embedded=replace(frame.embedded, icc_profile=target))


def is_raw(path: Path) -> bool:
    """Return whether the suffix is that of a RAW."""
    return path.suffix.lower() in SUFFIXES
