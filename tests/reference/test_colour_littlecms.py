"""Curves, matrices and conversions against LittleCMS, and our profiles against published primaries.

LittleCMS is reached by two bindings that share no code: imagecodecs and Pillow's ImageCms.
Profiles: LittleCMS' own, ours, ones put together here after ICC.1, and those of Debian's
icc-profiles-free and colord-data where they are installed.
"""

import io
import struct
from pathlib import Path

import imagecodecs
import numpy as np
import pytest
import tifffile
from numpy.typing import NDArray
from PIL import Image, ImageCms

from blendkit.files import convert, profiles, read_frame, write_picture
from blendkit.frame import Embedded, Frame

SYSTEM = Path("/usr/share/color/icc")
XYZ = imagecodecs.cms_profile("xyz")


def sampled_v2() -> bytes:
    """Return a version 2 profile whose curves are tables of 1024 values (ICC.1, curveType)."""
    values = np.rint(
        ((np.arange(1024) / 1023) ** 1.9 * 0.98 + np.arange(1024) / 1023 * 0.02) * 65535
    )
    curve = b"curv" + bytes(4) + struct.pack(">I", 1024) + values.astype(">u2").tobytes()
    return profiles._with_tags(
        imagecodecs.cms_profile("adobergb"), dict.fromkeys(profiles._TRC, curve)
    )


def tables_v2(grid: int = 21) -> bytes:
    """Return sRGB as tables: A2B0 and B2A0 of type lut16Type to and from Lab (ICC.1, 10.10)."""
    lab = ImageCms.ImageCmsProfile(ImageCms.createProfile("LAB")).tobytes()
    base = profiles.srgb()

    def lut(cube: NDArray[np.uint16]) -> bytes:
        straight = np.array([0, 65535], ">u2")
        head = b"mft2" + bytes(4) + bytes([3, 3, grid, 0])
        identity = np.array([1, 0, 0, 0, 1, 0, 0, 0, 1], ">i4") * 65536
        sizes = struct.pack(">HH", 2, 2)
        ends = np.tile(straight, 3).astype(">u2").tobytes()
        return (
            head
            + identity.astype(">i4").tobytes()
            + sizes
            + ends
            + cube.astype(">u2").tobytes()
            + ends
        )

    axis = np.linspace(0, 1, grid)
    nodes = np.stack(np.meshgrid(axis, axis, axis, indexing="ij"), -1).reshape(1, -1, 3)
    seen = imagecodecs.cms_transform(
        nodes.astype(np.float32),
        base,
        lab,
        colorspace="rgb",
        outcolorspace="lab",
        outdtype="float32",
    )
    scaled = (seen + np.array([0, 128, 128])) * [
        652.8,
        256,
        256,
    ]  # lut16Type's Lab encoding (ICC.1, 6.3.4.2)
    forward = lut(np.rint(np.clip(scaled, 0, 65535)))
    wanted = nodes * [65535 / 652.8, 65535 / 256, 65535 / 256] - np.array([0, 128, 128])
    back = imagecodecs.cms_transform(
        wanted.astype(np.float32),
        lab,
        base,
        colorspace="lab",
        outcolorspace="rgb",
        outdtype="float32",
    )
    backward = lut(np.rint(np.clip(back, 0, 1) * 65535))
    return _assembled(base, {b"A2B0": forward, b"B2A0": backward})


def _assembled(base: bytes, added: dict[bytes, bytes]) -> bytes:
    """Return a version 2 Lab profile with the base's description and white, and the added tags."""
    kept = {
        tag: data
        for tag, data in profiles._tags(base).items()
        if tag in (b"desc", b"wtpt", b"cprt")
    }
    kept |= added
    out = bytearray(base[:128]) + struct.pack(">I", len(kept))
    out[8:12], out[20:24], out[84:100] = b"\x02\x40\0\0", b"Lab ", bytes(16)
    place, body = 132 + 12 * len(kept), b""
    for tag, data in kept.items():
        out += struct.pack(">4sII", tag, place + len(body), len(data))
        body += data + bytes(-len(data) % 4)
    out += body
    out[0:4] = struct.pack(">I", len(out))
    return bytes(out)


MATRIX = {
    "sRGB of LittleCMS, version 4, parametric": imagecodecs.cms_profile("srgb"),
    "version 2, exponent": imagecodecs.cms_profile("adobergb"),
    "version 2, tables of 1024": sampled_v2(),
    "ours, sRGB": profiles.srgb(),
    "ours, wide": profiles.wide(),
    "ours, opRGB": profiles.oprgb(),
    "linear": profiles.linear_twin(profiles.wide()),
    "Pillow's sRGB": ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes(),
} | {
    path.name: path.read_bytes()
    for path in sorted(SYSTEM.rglob("*.icc"))
    if profiles.parse(path.read_bytes()).space == "RGB" and profiles.parse(path.read_bytes()).curves
}


def to_xyz(codes: NDArray[np.float32], profile: bytes) -> NDArray[np.float32]:
    return imagecodecs.cms_transform(
        codes, profile, XYZ, colorspace="rgb", outcolorspace="xyz", outdtype="float32", intent=1
    )


@pytest.mark.parametrize("name", MATRIX)
def test_light_is_what_littlecms_says_it_is(tmp_path: Path, name: str) -> None:
    """Our curve, then the profile's own matrix, gives LittleCMS' XYZ."""
    icc = MATRIX[name]
    codes = np.random.default_rng(0).integers(0, 65536, (40, 50, 3), dtype=np.uint16)
    tifffile.imwrite(tmp_path / "p.tif", codes, photometric="rgb", iccprofile=icc)
    frame = read_frame(tmp_path / "p.tif")
    tags = profiles._tags(icc)
    matrix = [np.frombuffer(tags[tag], ">i4", 3, 8) / 65536 for tag in (b"rXYZ", b"gXYZ", b"bXYZ")]
    ours = frame.pixels @ np.array(matrix, np.float32)
    theirs = to_xyz((codes / 65535).astype(np.float32), icc)
    np.testing.assert_allclose(ours, theirs, atol=4e-5)
    assert frame.embedded.icc_profile == icc


@pytest.mark.parametrize("name", MATRIX)
def test_untouched_pixels_come_back_to_the_code_in_every_profile(tmp_path: Path, name: str) -> None:
    codes = np.arange(65536, dtype=np.uint16).reshape(256, 256)
    stored = np.stack([codes, codes[::-1], codes.T], axis=-1)
    tifffile.imwrite(tmp_path / "p.tif", stored, photometric="rgb", iccprofile=MATRIX[name])
    frame = read_frame(tmp_path / "p.tif")
    write_picture(tmp_path / "o.tif", frame.pixels, like=frame)
    with tifffile.TiffFile(tmp_path / "o.tif") as file:
        back = file.pages.first.asarray().astype(int)
        assert file.pages.first.tags[34675].value == MATRIX[name]
    for channel, curve in enumerate(profiles.parse(MATRIX[name]).curves):
        light = curve.table(65535)
        before, after = light[stored[..., channel]], light[back[..., channel]]
        # One code, told in light: film-log profiles are flat in places, where codes are all alike.
        step = np.maximum(np.diff(light, prepend=-1), np.diff(light, append=2))
        allowed = np.maximum(step[stored[..., channel]], step[back[..., channel]])
        assert (np.abs(after - before) <= allowed + (2e-5 if name.endswith(".icc") else 0)).all()
    if not name.endswith(".icc"):
        assert np.abs(back - stored).max() <= 1
    again = read_frame(tmp_path / "o.tif")
    np.testing.assert_allclose(again.pixels, frame.pixels, atol=1e-4)


@pytest.mark.parametrize("name", [name for name in MATRIX if not name.endswith(".icc")])
def test_a_frame_is_brought_to_the_background_frames_profile(tmp_path: Path, name: str) -> None:
    """Against Pillow's binding, at its 8 bits: both ends encoded, one code of difference."""
    codes = np.random.default_rng(1).integers(0, 256, (60, 80, 3), dtype=np.uint8)
    image = Image.fromarray(codes)
    image.save(tmp_path / "b.png", icc_profile=MATRIX[name])
    background = Frame(np.zeros((60, 80, 3), np.float32), embedded=Embedded(profiles.wide()))
    frame = read_frame(tmp_path / "b.png", match=background)
    assert frame.embedded.icc_profile == profiles.wide()
    write_picture(tmp_path / "o.png", frame.pixels, like=frame, bits=8)
    expected = ImageCms.profileToProfile(
        image,
        ImageCms.ImageCmsProfile(io.BytesIO(MATRIX[name])),
        ImageCms.ImageCmsProfile(io.BytesIO(profiles.wide())),
        renderingIntent=ImageCms.Intent.RELATIVE_COLORIMETRIC,
    )
    with Image.open(tmp_path / "o.png") as written:
        apart = np.abs(np.asarray(written).astype(int) - np.asarray(expected).astype(int))
    assert apart.max() <= 1
    assert (apart > 0).mean() < 0.2


def test_a_profile_of_tables_gives_the_light_it_describes(tmp_path: Path) -> None:
    """SRGB described by a 21-node table: the light is that of sRGB within the grid's error."""
    codes = np.random.default_rng(2).integers(8000, 60000, (40, 50, 3), dtype=np.uint16)
    tifffile.imwrite(tmp_path / "t.tif", codes, photometric="rgb", iccprofile=tables_v2())
    tifffile.imwrite(tmp_path / "s.tif", codes, photometric="rgb", iccprofile=profiles.srgb())
    known = read_frame(tmp_path / "s.tif")
    frame = read_frame(tmp_path / "t.tif", match=known)
    apart = np.abs(frame.pixels - known.pixels)
    assert 1e-6 < apart.mean() < 0.002
    assert apart.max() < 0.02
    assert any("by tables" in note for note in frame.notes)
    alone = read_frame(tmp_path / "t.tif")
    assert alone.embedded.icc_profile == profiles.wide()


def test_what_is_clipped_in_a_profile_of_tables_is_known_after_the_conversion(
    tmp_path: Path,
) -> None:
    codes = np.full((8, 12, 3), 20000, np.uint16)
    codes[2, 3, 0] = 65535
    tifffile.imwrite(tmp_path / "t.tif", codes, photometric="rgb", iccprofile=tables_v2())
    frame = read_frame(tmp_path / "t.tif")
    assert frame.clipped is not None
    assert np.argwhere(frame.clipped).tolist() == [[2, 3]]


def test_black_point_compensation_and_intent_reach_littlecms() -> None:
    """A profile whose black is light grey: compensation takes it to black, without it it stays."""
    straight = b"curv" + bytes(4) + struct.pack(">I", 2) + np.array([6553, 65535], ">u2").tobytes()
    raised = profiles._with_tags(
        imagecodecs.cms_profile("adobergb"), dict.fromkeys(profiles._TRC, straight)
    )
    results = {}
    for compensated in (False, True):
        pixels = np.zeros((1, 4, 3), np.float32)
        convert.convert(
            pixels,
            raised,
            profiles.linear_twin(profiles.srgb()),
            black_point_compensation=compensated,
        )
        results[compensated] = pixels.max()
    assert results[False] == pytest.approx(0.1, abs=0.01)
    assert results[True] == pytest.approx(0.0, abs=0.01)


@pytest.mark.parametrize(
    ("profile", "primaries"),
    [
        ("srgb", [(0.640, 0.330), (0.300, 0.600), (0.150, 0.060)]),  # IEC 61966-2-1
        ("wide", [(0.708, 0.292), (0.170, 0.797), (0.131, 0.046)]),  # ITU-R BT.2020-2, table 3
        ("oprgb", [(0.640, 0.330), (0.210, 0.710), (0.150, 0.060)]),  # IEC 61966-2-5
    ],
)
def test_our_profiles_have_the_published_primaries(
    profile: str, primaries: list[tuple[float, float]]
) -> None:
    data = getattr(profiles, profile)()
    tags = profiles._tags(data)
    adapt = np.frombuffer(tags[b"chad"], ">i4", 9, 8).reshape(3, 3) / 65536
    for tag, (x, y) in zip((b"rXYZ", b"gXYZ", b"bXYZ"), primaries, strict=True):
        seen = np.linalg.solve(adapt, np.frombuffer(tags[tag], ">i4", 3, 8) / 65536)
        np.testing.assert_allclose(seen[:2] / seen.sum(), (x, y), atol=2e-4)
    opened = ImageCms.ImageCmsProfile(io.BytesIO(data))
    assert ImageCms.getProfileDescription(opened).strip() in ("sRGB", "blendkit wide", "opRGB")


def test_grey_profiles(tmp_path: Path) -> None:
    """A grey profile of gamma 2.2 (ICC.1, 8.3.4): its curve gives the light."""
    curve = b"curv" + bytes(4) + struct.pack(">IH", 1, round(2.2 * 256)) + bytes(2)
    grey = bytearray(_assembled(profiles.srgb(), {b"kTRC": curve}))
    grey[16:20], grey[20:24] = b"GRAY", b"XYZ "
    codes = np.linspace(0, 65535, 2000).astype(np.uint16).reshape(40, 50)
    tifffile.imwrite(tmp_path / "g.tif", codes, photometric="minisblack", iccprofile=bytes(grey))
    frame = read_frame(tmp_path / "g.tif")
    expected = (codes / 65535) ** (round(2.2 * 256) / 256)
    np.testing.assert_allclose(frame.pixels[..., 1], expected, atol=1e-6)
    assert frame.embedded.icc_profile == profiles.srgb()


def test_a_profile_for_other_colours_is_noted(tmp_path: Path) -> None:
    cmyk = bytearray(profiles.srgb())
    cmyk[16:20] = b"CMYK"
    codes = np.full((9, 9, 3), 30000, np.uint16)
    tifffile.imwrite(tmp_path / "c.tif", codes, photometric="rgb", iccprofile=bytes(cmyk))
    frame = read_frame(tmp_path / "c.tif")
    assert "profile for CMYK colours" in frame.notes[0]


def test_a_camera_that_marks_oprgb_in_exif_only(tmp_path: Path) -> None:
    """DCF (CIPA DC-009): ColorSpace FFFF, interoperability index R03, no profile."""
    exif = Image.Exif()
    exif[34665] = {40961: 65535, 40965: {1: "R03"}}
    Image.new("RGB", (16, 16), (128, 128, 128)).save(tmp_path / "r.jpg", exif=exif, quality=100)
    frame = read_frame(tmp_path / "r.jpg")
    assert frame.embedded.icc_profile == profiles.oprgb()
    np.testing.assert_allclose(frame.pixels, (128 / 255) ** (563 / 256), rtol=1e-3)
