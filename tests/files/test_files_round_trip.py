"""What is read and written untouched comes back as the same values."""

import struct
import tracemalloc
import zlib
from pathlib import Path

import numpy as np
import pytest
import tifffile
from numpy.typing import NDArray
from PIL import Image, ImageOps

from blendkit.errors import InputError
from blendkit.files import (
    exif,
    ifd,
    profiles,
    read_frame,
    read_labels,
    read_mask,
    write_grey,
    write_labels,
    write_picture,
    write_rgba,
    xmp,
)
from blendkit.files.curves import SRGB
from blendkit.files.decode_png_jpeg import orientation_of
from blendkit.files.mark import is_marked
from blendkit.frame import Embedded, Frame

SIZE = (75, 131)  # height, width: no multiple of a strip or tile


@pytest.fixture
def codes16() -> NDArray[np.uint16]:
    return np.random.default_rng(3).integers(0, 65536, (*SIZE, 3), dtype=np.uint16)


LAYOUTS = {
    "plain": {},
    "lzw strips": {"compression": "lzw", "rowsperstrip": 7},
    "deflate with predictor": {"compression": "adobe_deflate", "predictor": True},
    "tiles": {"tile": (32, 48), "compression": "zlib"},
    "uncompressed tiles": {"tile": (16, 16)},
    "big-endian": {"byteorder": ">"},
    "BigTIFF": {"bigtiff": True, "rowsperstrip": 10},
    "planes": {"planarconfig": "separate", "rowsperstrip": 9},
}


@pytest.mark.parametrize("layout", LAYOUTS)
@pytest.mark.parametrize("kind", ["uint8", "uint16", "float32"])
def test_a_tiff_of_any_layout_comes_back_within_one_code(
    tmp_path: Path, codes16: NDArray[np.uint16], layout: str, kind: str
) -> None:
    codes = {"uint8": codes16 >> 8, "uint16": codes16, "float32": codes16 / 65535}[kind]
    codes = codes.astype(kind)
    options = dict(LAYOUTS[layout])
    stored = np.moveaxis(codes, -1, 0).copy() if "planarconfig" in options else codes
    tifffile.imwrite(tmp_path / "in.tif", stored, photometric="rgb", **options)
    frame = read_frame(tmp_path / "in.tif")
    assert frame.size == SIZE[::-1]
    bits = {"uint8": 8, "uint16": 16, "float32": 32}[kind]
    assert frame.bits == bits
    write_picture(tmp_path / "out.tif", frame.pixels, like=frame, bits=bits)
    back = tifffile.imread(tmp_path / "out.tif")
    assert back.dtype == codes.dtype
    if kind == "float32":
        np.testing.assert_allclose(back, codes, atol=1e-6)
    else:
        np.testing.assert_array_equal(back, codes)


@pytest.mark.parametrize("bits", [8, 16])
def test_a_png_comes_back_exactly(tmp_path: Path, codes16: NDArray[np.uint16], bits: int) -> None:
    tifffile.imwrite(tmp_path / "in.tif", codes16, photometric="rgb")
    frame = read_frame(tmp_path / "in.tif")
    write_picture(tmp_path / "out.png", frame.pixels, like=frame, bits=bits)
    again = read_frame(tmp_path / "out.png")
    assert again.bits == bits
    step = np.abs(again.pixels - frame.pixels).max()
    assert step == 0 if bits == 16 else 0.003 < step < 0.006  # half an 8-bit code near white


def test_a_jpeg_comes_back_close(tmp_path: Path) -> None:
    ramp = np.linspace(0, 1, 128 * 96, dtype=np.float32).reshape(96, 128)
    frame = Frame(np.repeat(ramp[..., None], 3, axis=2))
    write_picture(tmp_path / "out.jpg", frame.pixels, like=frame)
    again = read_frame(tmp_path / "out.jpg")
    assert again.bits == 8
    assert 0 < np.abs(again.pixels - frame.pixels).max() < 0.02


@pytest.mark.parametrize("photometric", ["minisblack", "miniswhite"])
def test_grey_becomes_rgb(tmp_path: Path, photometric: str) -> None:
    grey = np.arange(60 * 50, dtype=np.uint16).reshape(50, 60) * 20
    tifffile.imwrite(tmp_path / "g.tif", grey, photometric=photometric)
    frame = read_frame(tmp_path / "g.tif")
    assert frame.pixels.shape == (50, 60, 3)
    np.testing.assert_array_equal(frame.pixels[..., 0], frame.pixels[..., 2])
    assert (frame.pixels[0, 0, 0] == 0) == (photometric == "minisblack")


@pytest.mark.parametrize("orientation", range(1, 9))
@pytest.mark.parametrize("suffix", ["tif", "jpg", "png"])
def test_orientation_is_applied_once_as_pillow_applies_it(
    tmp_path: Path, orientation: int, suffix: str
) -> None:
    blocks = np.kron(np.random.default_rng(1).integers(0, 256, (3, 5, 3)), np.ones((16, 16, 1)))
    image = Image.fromarray(blocks.astype(np.uint8))
    exif = Image.Exif()
    exif[0x0112] = orientation
    image.save(
        tmp_path / f"in.{suffix}",
        exif=exif,
        **({"quality": 100, "subsampling": 0} if suffix == "jpg" else {}),
    )
    with Image.open(tmp_path / f"in.{suffix}") as stored:
        upright = np.asarray(ImageOps.exif_transpose(stored).convert("RGB"))
    frame = read_frame(tmp_path / f"in.{suffix}")
    write_picture(tmp_path / "out.tif", frame.pixels, like=frame, bits=8)
    np.testing.assert_array_equal(tifffile.imread(tmp_path / "out.tif"), upright)
    again = read_frame(tmp_path / "out.tif")
    np.testing.assert_array_equal(again.pixels, frame.pixels)


def test_what_was_clipped_is_known_after_a_conversion(tmp_path: Path) -> None:
    """A red at its limit is well below it in a wider profile, and holds no more light there."""
    codes = np.full((8, 12, 3), 20000, np.uint16)
    codes[:, :4, 0] = 65535
    codes[:, 4:8, 0] = 64500
    tifffile.imwrite(tmp_path / "in.tif", codes, photometric="rgb")
    black = np.zeros((8, 12, 3), np.float32)
    wide = Frame(black, embedded=Embedded(profiles.wide()))
    frame = read_frame(tmp_path / "in.tif", match=wide)
    assert frame.pixels.max() < frame.clip_level
    assert frame.clipped is not None
    assert frame.clipped[:, :4].all()
    assert not frame.clipped[:, 4:].any()
    codes[:, :4] = 20000
    tifffile.imwrite(tmp_path / "in.tif", codes, photometric="rgb")
    assert read_frame(tmp_path / "in.tif", match=wide).clipped is None


def test_light_above_white_is_kept_in_float_files_and_clipped_in_others(tmp_path: Path) -> None:
    frame = Frame(np.full((8, 8, 3), 3.5, np.float32), embedded=Embedded(profiles.wide()))
    write_picture(tmp_path / "f.tif", frame.pixels, like=frame, bits=32)
    np.testing.assert_allclose(read_frame(tmp_path / "f.tif").pixels, 3.5, rtol=1e-5)
    write_picture(tmp_path / "i.tif", frame.pixels, like=frame)
    assert (read_frame(tmp_path / "i.tif").pixels == 1.0).all()


@pytest.mark.parametrize("name", ["m.tif", "m.png"])
@pytest.mark.parametrize("bits", [8, 16])
def test_a_mask_comes_back_as_it_was(tmp_path: Path, name: str, bits: int) -> None:
    values = np.random.default_rng(0).random((40, 30), dtype=np.float32)
    write_grey(tmp_path / name, values, bits=bits)
    mask = read_mask(tmp_path / name, size=(30, 40))
    assert mask.dtype == np.float32
    worst = np.abs(mask - values).max()
    assert 0.3 / 2**bits < worst <= 0.502 / (2**bits - 1)


def test_a_grey_mask_stored_as_rgb_passes(tmp_path: Path) -> None:
    grey = np.zeros((20, 25, 3), np.uint8)
    grey[5:9] = 255
    Image.fromarray(grey).save(tmp_path / "rgb.png")
    assert read_mask(tmp_path / "rgb.png", size=(25, 20))[6, 3] == 1.0


def test_labels_are_unchanged(tmp_path: Path) -> None:
    labels = np.arange(256, dtype=np.uint8).reshape(16, 16)
    write_labels(tmp_path / "l.png", labels)
    np.testing.assert_array_equal(read_labels(tmp_path / "l.png"), labels)
    with Image.open(tmp_path / "l.png") as image:
        assert image.mode == "L"


def test_colours_under_alpha_are_straight(tmp_path: Path) -> None:
    frame = Frame(np.full((6, 7, 3), 0.5, np.float32))
    alpha = np.linspace(0, 1, 42, dtype=np.float32).reshape(6, 7)
    write_rgba(tmp_path / "a.tif", frame.pixels, alpha, like=frame)
    with tifffile.TiffFile(tmp_path / "a.tif") as file:
        page = file.pages.first
        assert page.extrasamples == (2,)  # 2 = unassociated alpha (TIFF 6.0, ExtraSamples)
        stored = page.asarray()
    assert len(np.unique(stored[..., :3])) == 1
    np.testing.assert_allclose(stored[..., 3] / 65535, alpha, atol=1e-5)


@pytest.mark.parametrize("compression", ["zstd", "lzw", "deflate", "packbits"])
def test_a_mask_in_which_nothing_is_painted_is_no_damage(tmp_path: Path, compression: str) -> None:
    """It packs as well as its compression can."""
    nothing = np.zeros((2000, 3000), np.uint16)
    tifffile.imwrite(
        tmp_path / "m.tif",
        nothing,
        photometric="minisblack",
        compression=compression,
        rowsperstrip=2000,
    )
    assert not read_mask(tmp_path / "m.tif", size=(3000, 2000)).any()


@pytest.mark.parametrize(
    "layout",
    [
        {"compression": "zlib", "rowsperstrip": 64},
        {"compression": "lzw", "tile": (256, 256)},
        {},
    ],
)
def test_reading_holds_the_picture_once(tmp_path: Path, layout: dict) -> None:
    """24 bytes a pixel would be two decoded copies beside each other; 12 are the frame itself."""
    codes = np.random.default_rng(0).integers(0, 65536, (2400, 3000, 3), dtype=np.uint16)
    tifffile.imwrite(tmp_path / "big.tif", codes, photometric="rgb", **layout)
    tracemalloc.start()
    frame = read_frame(tmp_path / "big.tif")
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    assert 1.0 < peak / frame.pixels.nbytes < 1.6


def test_of_a_tiff_that_begins_with_a_reduced_page_the_picture_is_read(tmp_path: Path) -> None:
    """TIFF 6.0, NewSubfileType: bit 0 marks a reduced copy of another page."""
    path = tmp_path / "a.tif"
    small, large = (np.full((h, 2 * h, 3), 9 * h, np.uint8) for h in (8, 24))
    with tifffile.TiffWriter(path) as file:
        file.write(small, photometric="rgb", subfiletype=1)
        file.write(large, photometric="rgb")
    frame = read_frame(path)
    assert frame.size == (48, 24)
    np.testing.assert_allclose(frame.pixels, SRGB.table(255)[216], atol=1e-5)


def with_chunk(png: bytes, name: bytes, data: bytes, *, behind: bool = False) -> bytes:
    """Return a PNG with one more chunk behind its header, or behind its pixels."""
    body = name + data
    chunk = struct.pack(">I", len(data)) + body + struct.pack(">I", zlib.crc32(body))
    at = len(png) - 12 if behind else 33
    return png[:at] + chunk + png[at:]


def test_of_a_tiff_the_picture_below_the_reduced_one_is_read(tmp_path: Path) -> None:
    """TIFF Technical Note 1: the whole picture may stand in a SubIFD of its reduced copy."""
    small, large = (np.full((h, 2 * h, 3), 9 * h, np.uint8) for h in (8, 24))
    with tifffile.TiffWriter(tmp_path / "a.tif") as file:
        file.write(small, photometric="rgb", subfiletype=1, subifds=1, iccprofile=profiles.wide())
        file.write(large, photometric="rgb")
    frame = read_frame(tmp_path / "a.tif")
    assert frame.size == (48, 24)
    assert frame.embedded.icc_profile == profiles.wide()
    np.testing.assert_allclose(frame.pixels, SRGB.table(255)[216], atol=1e-5)
    tifffile.imwrite(tmp_path / "b.tif", small, photometric="rgb", subfiletype=1)
    with pytest.raises(InputError, match=r"b\.tif: holds a reduced picture alone"):
        read_frame(tmp_path / "b.tif")


@pytest.mark.parametrize("behind", [False, True])
def test_exif_and_xmp_of_a_png_count_on_either_side_of_its_pixels(
    tmp_path: Path, behind: bool
) -> None:
    """W3C PNG, 5.6: both may follow the pixels; here in several chunks, as libpng writes them."""
    path = tmp_path / "a.png"
    Image.fromarray(np.random.default_rng(0).integers(0, 256, (90, 120, 3), np.uint8)).save(path)
    directory = {
        exif.ORIENTATION: ifd.short_entry(6),
        ifd.EXIF: {exif.F_NUMBER: ifd.rational_entry((4, 1))},
    }
    data = with_chunk(path.read_bytes(), b"eXIf", ifd.dump_block(directory), behind=behind)
    packet = xmp.layer_note("matte")
    head = b"XML:com.adobe.xmp" + bytes(5)
    path.write_bytes(with_chunk(data, b"iTXt", head + packet, behind=behind))
    frame = read_frame(path)
    assert (frame.size, frame.capture.f_number) == ((90, 120), 4.0)
    assert frame.embedded.xmp == packet
    assert is_marked(path)
    with Image.open(path) as image:
        assert orientation_of(image) == 6
        assert np.asarray(image).shape == (90, 120, 3)


def test_a_png_may_hold_a_large_profile(tmp_path: Path) -> None:
    """Profiles with dense tables have megabytes; Pillow stops at one unless it is told."""
    large = bytearray(profiles.wide() + bytes(3 << 20))
    large[:4] = struct.pack(">I", len(large))
    path = tmp_path / "a.png"
    Image.fromarray(np.full((20, 30, 3), 90, np.uint8)).save(path)
    body = b"icc" + bytes(2) + zlib.compress(bytes(large))
    path.write_bytes(with_chunk(path.read_bytes(), b"iCCP", body))
    assert read_frame(path).embedded.icc_profile == bytes(large)


@pytest.mark.parametrize(
    ("chunk", "numbers", "words"),
    [
        (b"cICP", bytes([1, 13, 0, 1]), None),
        (b"cICP", bytes([12, 13, 0, 1]), "primaries 12 and transfer function 13 (cICP)"),
        (b"cHRM", (31270, 32900, 64000, 33000, 30000, 60000, 15000, 6000), None),
        (b"cHRM", (31270, 32900, 64000, 33000, 21000, 71000, 15000, 6000), "other primaries than"),
    ],
)
def test_a_png_that_says_other_colours_without_a_profile_is_noted(
    tmp_path: Path, chunk: bytes, numbers: bytes | tuple[int, ...], words: str | None
) -> None:
    """W3C PNG, 11.3.2: cHRM holds white, red, green, blue times 100,000; cICP codes of H.273."""
    path = tmp_path / "a.png"
    Image.fromarray(np.full((20, 30, 3), 90, np.uint8)).save(path)
    body = numbers if isinstance(numbers, bytes) else struct.pack(">8I", *numbers)
    plain = path.read_bytes()
    path.write_bytes(with_chunk(plain, chunk, body))
    notes = read_frame(path).notes
    assert [words in note for note in notes] == ([True] if words else [])
    path.write_bytes(with_chunk(with_chunk(plain, chunk, body), b"sRGB", b"\0"))
    assert bool(read_frame(path).notes) is (chunk == b"cICP" and words is not None)


@pytest.mark.parametrize(("transfer", "name"), [(16, "PQ"), (18, "HLG")])
def test_a_png_for_hdr_screens_is_refused(tmp_path: Path, transfer: int, name: str) -> None:
    path = tmp_path / "a.png"
    Image.fromarray(np.full((20, 30, 3), 90, np.uint8)).save(path)
    path.write_bytes(with_chunk(path.read_bytes(), b"cICP", bytes([9, transfer, 0, 1])))
    with pytest.raises(InputError, match=rf"a\.png: is encoded for HDR screens \({name}\)"):
        read_frame(path)


@pytest.mark.parametrize(("gamma", "noted"), [(1.0, True), (0.45455, False), (None, False)])
def test_a_png_that_says_another_gamma_without_a_profile_is_noted(
    tmp_path: Path, gamma: float | None, noted: bool
) -> None:
    """W3C PNG, 11.3.2.1: gAMA holds 100,000 times the exponent from light to samples."""
    path = tmp_path / "a.png"
    Image.fromarray(np.full((20, 30, 3), 90, np.uint8)).save(path)
    if gamma is not None:
        body = struct.pack(">I", round(100_000 * gamma))
        path.write_bytes(with_chunk(path.read_bytes(), b"gAMA", body))
    notes = read_frame(path).notes
    assert any("says gamma 1" in note for note in notes) is noted
    assert bool(notes) is noted
