"""A copy of a result as the print lab wants it: size, colours, kind of file, checked."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from blendkit.errors import InputError
from blendkit.files import convert, encode, profiles, resample, xmp
from blendkit.files.atomic import atomic, check_output
from blendkit.files.checksums import check_list, sha256, take_out, update_list
from blendkit.files.delivery_check import read_back
from blendkit.files.delivery_name import file_name
from blendkit.files.earlier_copy import check_replaceable
from blendkit.files.encode_png_jpeg import check_sides, too_large, write_jpeg
from blendkit.files.encode_tiff import Attached, write_tiff
from blendkit.files.gamut import Gamut, outside
from blendkit.files.print_size import Box, Placement, effective_dpi, place
from blendkit.files.read import read_frame
from blendkit.files.there import is_file
from blendkit.files.write import attachments
from blendkit.frame import Float, Frame
from blendkit.settings import DeliverySettings

_KNOWN = {"srgb": profiles.srgb, "oprgb": profiles.oprgb, "wide": profiles.wide}
_BORDERS = {"white": 1.0, "black": 0.0, "grey": 0.5}


@dataclass(frozen=True, slots=True)
class Delivered:
    """One delivered file, read back and found as wanted.

    path: the file; size: (width, height) px; resolution_dpi; profile: name of the output profile;
    gamut: what the conversion could not keep; sha256: checksum; enlarged: whether it has more
    pixels than the picture had; notes: sentences for the user.
    """

    path: Path
    size: tuple[int, int]
    resolution_dpi: float
    profile: str
    gamut: Gamut
    sha256: str
    enlarged: bool
    notes: tuple[str, ...] = ()


Allowed = Callable[[Path, Mapping[str, str]], None]
"""Raises if a file must not be replaced; it is given with our properties of the copy to come."""


def deliver(
    result: Path | str,
    settings: DeliverySettings,
    *,
    folder: Path | str | None = None,
    subject: Float | None = None,
    covered: Box | None = None,
    number: int = 1,
    inputs: Sequence[Path | str] = (),
    taken: Sequence[Path] = (),
    allowed: Allowed = check_replaceable,
) -> Delivered:
    """Write one result for the lab, and list its checksum beside it.

    Parameters
    ----------
    result : the master, any file that `read_frame` reads.
    settings : size, colours, kind of file.
    folder : where to; None = beside the result.
    subject : mask of the sitter, float32 (height, width); a crop keeps it in the middle.
    covered : what both frames reach, for settings that trim the rest off.
    number : for the field {number} of the name.
    inputs : further files that must not be overwritten; the result itself never is.
    taken : files of the same delivery, whose names must not come up again.
    allowed : called with the file before it is written, to raise if it must not be replaced.  By
        itself a copy takes the place of an earlier one of the same result alone.

    Raises
    ------
    InputError : the result, the profile or the name pattern cannot be used, or what lies where copy
        or list go must stay.
    OutputError : it cannot be written, or what was written does not read back as wanted.
    """
    source = Path(result)
    frame = read_frame(source)
    title, profile = _profile(settings.profile, frame)
    middle, within = _middle(subject, frame), _within(covered, settings, frame)
    placement = place(frame.size, settings, around=middle, within=within, name=source.name)
    dpi = effective_dpi(placement, settings)
    name = file_name(source.stem, settings, placement, profile=title, number=number)
    target = (Path(folder) if folder is not None else source.parent) / name
    if target in taken:
        raise InputError(
            f"name {settings.name!r}: gives {name} twice; put {{stem}} or {{number}} into it"
        )
    check_output(target, [source, *inputs])
    check_sides(target, placement.sheet)
    check_list(target.parent)
    allowed(target, xmp.properties_of(frame.embedded.xmp) | {xmp.COPY_OF: frame.name})
    codes, gamut = _codes(frame, settings, placement, profile)
    attached = _attached(frame, placement, profile, dpi, private=settings.private)
    with atomic(target, [source, *inputs]) as temporary:
        _write(temporary, codes, attached, settings)
        exact = settings.format == "tiff"
        read_back(temporary, target.name, codes, attached, size=placement.sheet, exact=exact)
        take_out(target)
        digest = sha256(temporary)
    update_list(target.parent, [(target.name, digest)])
    return Delivered(
        path=target,
        size=placement.sheet,
        resolution_dpi=dpi,
        profile=title,
        gamut=gamut,
        sha256=digest,
        enlarged=placement.size[0] > placement.crop[2],
        notes=frame.notes + _notes(placement, settings, dpi) + _lost(attached, settings),
    )


def check_profile(wanted: str) -> None:
    """Raise InputError, before any work, unless copies can be delivered in a profile."""
    if wanted != "keep":
        _named_profile(wanted)


def _profile(wanted: str, frame: Frame) -> tuple[str, bytes]:
    if wanted == "keep":
        return "keep", frame.embedded.icc_profile or profiles.srgb()
    return _named_profile(wanted)


def _named_profile(wanted: str) -> tuple[str, bytes]:
    if wanted in _KNOWN:
        return wanted, _KNOWN[wanted]()
    path = Path(wanted)
    if not is_file(path):
        raise InputError(f"profile {wanted!r}: choose srgb, oprgb, wide, keep or an ICC file")
    try:
        data = path.read_bytes()
    except OSError as error:
        raise InputError(
            f"{path}: cannot be read ({error.strerror}); check its permissions"
        ) from error
    found = profiles.parse(data, path.name)
    if found.space != "RGB":
        raise InputError(
            f"{path.name}: is a profile for {found.space} colours; labs that print from "
            f"{found.space} convert themselves: choose an RGB profile"
        )
    _check_both_ways(data, path.name)
    return path.stem, data


def _check_both_ways(profile: bytes, name: str) -> None:
    """Raise InputError unless a colour can be converted into a profile and back.

    A scanner's has tables for one way alone, and what links two devices is no profile of one.
    """
    grey, light = np.full((1, 1, 3), 0.2, np.float32), profiles.srgb()
    try:
        outside(grey, light, profile, name=name)
        convert.convert(grey, profiles.linear_twin(light), profile, name=name)
    except InputError as error:
        raise InputError(
            f"{name}: colours cannot be converted into this profile and back; choose one that is "
            "made for output"
        ) from error


def _within(covered: Box | None, settings: DeliverySettings, frame: Frame) -> Box | None:
    """Return the part of the picture that may be printed, None for all of it."""
    if not settings.trim:
        return None
    if covered is None:
        raise InputError(
            f"{frame.name}: nothing says what both frames reach; deliver it without trim"
        )
    x, y, width, height = covered
    if min(x, y) < 0 or x + width > frame.size[0] or y + height > frame.size[1]:
        raise InputError(
            f"{frame.name}: has {frame.size[0]} x {frame.size[1]} px, and what both frames reach "
            "lies beyond; deliver it without trim"
        )
    return covered


def _middle(subject: Float | None, frame: Frame) -> tuple[float, float] | None:
    """Return the middle (x, y) of the sitter's box."""
    if subject is None:
        return None
    if subject.shape[::-1] != frame.size:
        raise InputError(
            f"subject mask: is {subject.shape[1]} x {subject.shape[0]} px but {frame.name} is "
            f"{frame.size[0]} x {frame.size[1]}; paint it over the result"
        )
    rows, columns = np.nonzero(subject > 0.5)
    if not rows.size:
        return None
    return (columns.min() + columns.max()) / 2, (rows.min() + rows.max()) / 2


def _codes(
    frame: Frame, settings: DeliverySettings, placement: Placement, profile: bytes
) -> tuple[NDArray[Any], Gamut]:
    """Return the values to write, and what the conversion could not keep."""
    own = frame.embedded.icc_profile or profiles.srgb()
    pixels = np.array(resample.to_size(frame.pixels, placement))
    gamut = outside(pixels, own, profile, name=frame.name) if profile != own else Gamut(0.0, 0.0)
    convert.convert(
        pixels,
        profiles.linear_twin(own),
        profile,
        intent=settings.intent,
        black_point_compensation=settings.black_point_compensation,
        name=frame.name,
    )
    np.clip(pixels, 0.0, 1.0, out=pixels)
    if settings.sharpen > 0:
        pixels = resample.sharpened(
            pixels, amount=settings.sharpen, disc_px=settings.sharpen_disc_px
        )
    pixels = resample.on_sheet(pixels, placement, _BORDERS[settings.border])
    return encode.quantised(pixels, 8 if settings.format == "jpeg" else settings.bits), gamut


def _attached(
    frame: Frame, placement: Placement, profile: bytes, dpi: float, *, private: bool
) -> Attached:
    carried = attachments(frame, placement.sheet, private=private, profile=profile)
    return replace(carried, resolution_dpi=(dpi, dpi))


def _write(path: Path, codes: NDArray[Any], attached: Attached, settings: DeliverySettings) -> None:
    if settings.format == "tiff":
        write_tiff(path, codes, attached)
    else:
        write_jpeg(
            path, codes, attached, quality=settings.quality, subsampling=settings.subsampling
        )


def _notes(placement: Placement, settings: DeliverySettings, dpi: float) -> tuple[str, ...]:
    if settings.print_width_cm is not None and settings.long_edge_px is not None:
        without = replace(settings, long_edge_px=None)
        heeded = f"the print's size counts, not the long edge of {settings.long_edge_px} px"
        return (heeded, *_notes(placement, without, dpi))
    if settings.print_width_cm is not None and dpi < settings.dpi * 0.99:
        has = f"the picture has {dpi:.0f} dpi at that print size, not {settings.dpi:.0f}"
        return (f"{has}; it was not enlarged",)
    wanted = settings.long_edge_px if settings.print_width_cm is None else None
    if wanted is not None and max(placement.size) < wanted:
        has = f"the picture has {max(placement.size)} px on its long edge, not {wanted}"
        return (f"{has}; it was not enlarged",)
    if placement.size[0] > placement.crop[2]:
        factor = placement.size[0] / placement.crop[2]
        return (f"the picture was enlarged by a factor of {factor:.2f}",)
    return ()


def _lost(attached: Attached, settings: DeliverySettings) -> tuple[str, ...]:
    """Say what a JPEG has no room for."""
    if settings.format != "jpeg":
        return ()
    return tuple(f"{clause}; deliver a TIFF to keep it" for clause in too_large(attached))


def deliver_copies(
    result: Path,
    wanted: Sequence[DeliverySettings],
    *,
    subject: Float | None = None,
    covered: Box | None = None,
    inputs: Sequence[Path | str] = (),
    number: int = 1,
    allowed: Allowed = check_replaceable,
) -> tuple[Delivered, ...]:
    """Write every copy that is wanted of one result.

    Parameters
    ----------
    result : the 16-bit master.
    wanted : one copy each.
    subject : mask of the sitter, for crops around it; all 0 is as good as None.
    covered : what both frames reach, for copies without the rest.
    inputs : files that must not be overwritten.
    number : place of the result among its fellows, for the name pattern.
    allowed : as for `deliver`.
    """
    around = subject if subject is not None and bool((subject > 0).any()) else None
    done: list[Delivered] = []
    for settings in wanted:
        earlier = [copy.path for copy in done]
        copy = deliver(
            result,
            settings,
            subject=around,
            covered=covered,
            number=number,
            inputs=inputs,
            taken=earlier,
            allowed=allowed,
        )
        done.append(copy)
    return tuple(done)
