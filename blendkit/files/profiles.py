"""ICC profiles: what a file's profile says, and profiles of our own.

Only the tags that describe a matrix and tone curves are read here; every conversion between
profiles is left to LittleCMS (`convert`).

References
----------
.. [1] ICC.1:2022, Image technology colour management: 7.2 (header), 7.3 (tag table), 8.3-8.5
   (required tags), 10.6 (curveType), 10.18 (parametricCurveType).
.. [2] ITU-R BT.2020-2, table 3: primaries of the wide-gamut system.
.. [3] IEC 61966-2-5:2007, opRGB: primaries and the exponent 563/256.
"""

import struct
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from blendkit.errors import InputError
from blendkit.files import curves
from blendkit.files.curves import Curve

_TRC = (b"rTRC", b"gTRC", b"bTRC")
_TABLES = (b"A2B0", b"A2B1", b"D2B0", b"D2B1", b"D2B3")
_D65 = (0.3127, 0.3290)  # chromaticity of the white of sRGB, BT.2020 and opRGB
# Parameters that each parametric function type takes ([1]_, table 68).
_PARAMETERS = (1, 3, 4, 5, 7)


@dataclass(frozen=True, eq=False, slots=True)
class Profile:
    """What an ICC profile says.

    data: the profile itself.
    space: "RGB", "GRAY", "CMYK", "Lab" ...
    curves: tone curves of red, green and blue (one for grey); empty if the colours are described
        by tables, so that only a conversion gives linear light.
    """

    data: bytes
    space: str
    curves: tuple[Curve, ...]


@lru_cache(maxsize=32)
def parse(data: bytes, name: str = "profile") -> Profile:
    """Read a profile.

    Parameters
    ----------
    data : the ICC profile.
    name : how messages call the file that it comes from.

    Raises
    ------
    InputError : not a profile, or its curves cannot be read.
    """
    try:
        return _parse(data)
    except (struct.error, IndexError, ValueError, ArithmeticError) as error:
        raise InputError(
            f"{name}: its colour profile is damaged ({error}); "
            "save the picture again with a standard RGB profile"
        ) from error


def _parse(data: bytes) -> Profile:
    if len(data) < 132 or data[36:40] != b"acsp":
        raise ValueError("no ICC signature")
    space = data[16:20].decode("ascii", "replace").strip()
    tags = _tags(data)
    if space == "GRAY" and b"kTRC" in tags:
        return Profile(data, space, (_sound(_curve(tags[b"kTRC"])),))
    has_matrix = space == "RGB" and all(tag in tags for tag in _TRC)
    if not has_matrix or any(tag in tags for tag in _TABLES):
        return Profile(data, space, ())
    known: dict[bytes, Curve] = {}
    found = tuple(known.setdefault(tags[tag], _sound(_curve(tags[tag]))) for tag in _TRC)
    return Profile(data, space, found)


def _tags(data: bytes) -> dict[bytes, bytes]:
    (count,) = struct.unpack_from(">I", data, 128)
    if count > 200:
        raise ValueError(f"{count} tags")
    found = {}
    for index in range(count):
        signature, offset, size = struct.unpack_from(">4sII", data, 132 + 12 * index)
        if offset + size > len(data):
            raise ValueError(f"tag {signature!r} lies outside the profile")
        found[signature] = data[offset : offset + size]
    return found


def _fixed(numbers: Sequence[int]) -> tuple[float, ...]:
    return tuple(number / 65536 for number in numbers)


def _exponent(value: float) -> float:
    if not 0 < value <= 10:
        raise ValueError(f"a tone curve with exponent {value:g}")
    return value


def _sound(curve: Curve) -> Curve:
    """Return the curve; ValueError if it does not rise, or leaves the range of numbers."""
    with np.errstate(all="ignore"):
        black, white, far = curve.decode(np.array([0.0, 1.0, curves.HIGHEST]))
    if not (abs(black) < white < 1e3 and far < 1e30):
        raise ValueError("a tone curve that does not rise from black to white")
    return curve


def _curve(tag: bytes) -> Curve:
    if tag[:4] == b"para":
        (kind,) = struct.unpack_from(">H", tag, 8)
        numbers = struct.unpack_from(f">{_PARAMETERS[kind]}i", tag, 12)
        return curves.parametric(kind, (_exponent(numbers[0] / 65536), *_fixed(numbers[1:])))
    if tag[:4] != b"curv":
        raise ValueError(f"tone curve of unknown type {tag[:4]!r}")
    (count,) = struct.unpack_from(">I", tag, 8)
    if count == 0:
        return curves.LINEAR
    if count > 65_536 or 12 + 2 * count > len(tag):
        raise ValueError(f"a curve of {count} values does not fit its tag")
    values = np.frombuffer(tag, ">u2", count, 12).astype(np.float64)
    if count == 1:
        return curves.gamma(_exponent(values[0] / 256))
    return curves.sampled(values / 65535)


@lru_cache(maxsize=32)
def linear_twin(data: bytes) -> bytes:
    """Return the matrix profile `data` with straight tone curves: the same primaries, linear."""
    straight = b"curv" + bytes(8)
    return _with_tags(data, dict.fromkeys(_TRC, straight))


@lru_cache(maxsize=1)
def srgb() -> bytes:
    """Return an sRGB profile: the one taken for files that carry none."""
    return _built("sRGB", (0.640, 0.330, 0.300, 0.600, 0.150, 0.060), _SRGB_CURVE)


@lru_cache(maxsize=32)
def is_srgb(data: bytes) -> bool:
    """Return whether a sound profile describes sRGB, whoever wrote it and however it rounds."""
    profile = parse(data)
    if profile.space != "RGB" or not profile.curves:
        return False
    steps = np.linspace(0, 1, 17)
    light = curves.SRGB.decode(steps)
    near = all(np.allclose(tone.decode(steps), light, atol=_SAME) for tone in profile.curves)
    return near and np.allclose(_primaries(data), _primaries(srgb()), atol=_SAME)


_SAME = 0.003
"""Profiles of sRGB differ by this much at most (common practice, no source)."""


def _primaries(data: bytes) -> list[tuple[float, ...]]:
    tags = _tags(data)
    colours = (tags.get(tag, b"").ljust(20, b"\0") for tag in (b"rXYZ", b"gXYZ", b"bXYZ"))
    return [_fixed(struct.unpack_from(">3i", colour, 8)) for colour in colours]


@lru_cache(maxsize=1)
def wide() -> bytes:
    """Return our wide-gamut profile: BT.2020's primaries ([2]_) with the curve of sRGB."""
    return _built("blendkit wide", (0.708, 0.292, 0.170, 0.797, 0.131, 0.046), _SRGB_CURVE)


@lru_cache(maxsize=1)
def oprgb() -> bytes:
    """Return a profile of opRGB ([3]_), which cameras may mark in Exif instead of embedding it."""
    return _built("opRGB", (0.640, 0.330, 0.210, 0.710, 0.150, 0.060), _para(0, (563 / 256,)))


def _para(kind: int, numbers: Sequence[float]) -> bytes:
    fixed = [round(number * 65536) for number in numbers]
    return b"para" + struct.pack(f">IHH{len(fixed)}i", 0, kind, 0, *fixed)


_SRGB_CURVE = _para(3, (2.4, 1 / 1.055, 0.055 / 1.055, 1 / 12.92, 0.04045))


def _built(title: str, primaries: Sequence[float], curve: bytes) -> bytes:
    """Return a matrix profile: LittleCMS does the colorimetry, name and curve are put in."""
    import imagecodecs  # noqa: PLC0415 - loaded when a profile is wanted

    x, y = _D65
    corners = [*primaries[0:2], 1.0, *primaries[2:4], 1.0, *primaries[4:6], 1.0]
    base = imagecodecs.cms_profile("rgb", whitepoint=[x, y, 1.0], primaries=corners, gamma=1.0)
    words = title.encode("utf-16-be")
    name = b"mluc" + struct.pack(">III2s2sII", 0, 1, 12, b"en", b"US", len(words), 28) + words
    data = bytearray(_with_tags(base, {b"desc": name, **dict.fromkeys(_TRC, curve)}))
    # LittleCMS stamps the present time; a fixed one gives the same bytes every day.
    data[24:36] = struct.pack(">6H", 2025, 1, 1, 0, 0, 0)
    return bytes(data)


def _with_tags(data: bytes, tags: dict[bytes, bytes]) -> bytes:
    """Return the profile with some of its tags replaced; the old values stay as dead bytes."""
    out = bytearray(data) + bytes(-len(data) % 4)
    places: dict[bytes, tuple[int, int]] = {}
    for value in dict.fromkeys(tags.values()):
        places[value] = (len(out), len(value))
        out += value + bytes(-len(value) % 4)
    (count,) = struct.unpack_from(">I", data, 128)
    for at in range(132, 132 + 12 * count, 12):
        value = tags.get(bytes(out[at : at + 4]), b"")
        if value:
            struct.pack_into(">II", out, at + 4, *places[value])
    struct.pack_into(">I", out, 0, len(out))
    out[84:100] = bytes(16)  # the profile's checksum: all zero = not calculated
    return bytes(out)
