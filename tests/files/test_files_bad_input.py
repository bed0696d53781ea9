"""Files that cannot be used end in one line that names the file and the next step."""

import struct
import tracemalloc
import zlib
from collections.abc import Callable
from pathlib import Path

import imagecodecs
import numpy as np
import pytest
import tifffile
from numpy.typing import NDArray
from PIL import Image

from blendkit.errors import InputError
from blendkit.files import profiles, read_frame, read_labels, read_mask
from blendkit.files.limits import MAX_PIXELS, MAX_SIDE_PX, check_claim, check_size


def refusal(path: Path) -> str:
    with pytest.raises(InputError) as caught:
        read_frame(path)
    message = str(caught.value)
    assert path.name in message
    assert "\n" not in message
    assert len(message) < 300
    return message


@pytest.fixture
def picture() -> NDArray[np.uint8]:
    return np.random.default_rng(0).integers(0, 256, (60, 80, 3), dtype=np.uint8)


def test_missing_empty_folder_and_text(tmp_path: Path) -> None:
    assert "no such file" in refusal(tmp_path / "nowhere.tif")
    (tmp_path / "empty.tif").touch()
    assert "is empty" in refusal(tmp_path / "empty.tif")
    (tmp_path / "folder.tif").mkdir()
    assert "name a picture file" in refusal(tmp_path / "folder.tif")
    (tmp_path / "text.tif").write_text("an orchard gate at dusk")
    assert "not a TIFF, PNG or JPEG" in refusal(tmp_path / "text.tif")


@pytest.mark.parametrize("value", [np.nan, np.inf, -np.inf])
def test_floats_that_are_no_numbers(tmp_path: Path, value: float) -> None:
    pixels = np.full((9, 9, 3), 0.5, np.float32)
    pixels[4, 4, 1] = value
    tifffile.imwrite(tmp_path / "f.tif", pixels, photometric="rgb")
    assert "1 values are infinite or not numbers" in refusal(tmp_path / "f.tif")


@pytest.mark.parametrize(
    ("options", "shape", "word"),
    [
        ({"photometric": "separated"}, (9, 9, 4), "CMYK"),
        ({"photometric": "rgb", "extrasamples": ["unassalpha"]}, (9, 9, 4), "alpha"),
        ({"photometric": "rgb", "extrasamples": ["assocalpha"]}, (9, 9, 4), "alpha"),
        ({"photometric": "rgb", "extrasamples": [0, 0]}, (9, 9, 5), "has 5 channels, 2 of them"),
        (
            {"photometric": "minisblack", "planarconfig": "contig"},
            (9, 9, 3),
            "has 3 channels, 2 of them beside its colours; save it as RGB",
        ),
        ({"photometric": "cielab"}, (9, 9, 3), "Lab"),
        ({"photometric": "palette", "colormap": np.zeros((3, 256), np.uint16)}, (9, 9), "palette"),
    ],
)
def test_tiffs_of_other_kinds(tmp_path: Path, options: dict, shape: tuple, word: str) -> None:
    tifffile.imwrite(tmp_path / "k.tif", np.zeros(shape, np.uint8), **options)
    assert word in refusal(tmp_path / "k.tif")


@pytest.mark.parametrize("kind", ["uint32", "float64", "int16", "float16"])
def test_tiffs_of_other_depths(tmp_path: Path, kind: str) -> None:
    tifffile.imwrite(tmp_path / "d.tif", np.zeros((9, 9), kind), photometric="minisblack")
    assert "save it with 8 or 16 bits" in refusal(tmp_path / "d.tif")


@pytest.mark.parametrize(
    ("mode", "suffix", "word"),
    [
        ("P", "png", "palette"),
        ("RGBA", "png", "alpha"),
        ("LA", "png", "alpha"),
        ("1", "png", "one bit"),
        ("CMYK", "jpg", "CMYK"),
    ],
)
def test_png_and_jpeg_of_other_kinds(
    tmp_path: Path, picture: NDArray[np.uint8], mode: str, suffix: str, word: str
) -> None:
    Image.fromarray(picture).convert(mode).save(tmp_path / f"p.{suffix}")
    assert word in refusal(tmp_path / f"p.{suffix}")


@pytest.mark.parametrize(
    ("encode", "word"),
    [
        (lambda codes: imagecodecs.jpeg8_encode(codes, bitspersample=12), "is a JPEG of 12 bits"),
        (lambda codes: imagecodecs.ljpeg_encode(codes[..., 0], bitspersample=12), "is a lossless"),
    ],
)
def test_jpegs_that_are_rare(
    tmp_path: Path,
    picture: NDArray[np.uint8],
    encode: Callable[[NDArray[np.uint16]], bytes],
    word: str,
) -> None:
    (tmp_path / "r.jpg").write_bytes(encode(picture.astype(np.uint16) * 16))
    assert word in refusal(tmp_path / "r.jpg")
    assert "a JPEG of 8 bits" in refusal(tmp_path / "r.jpg")
    (tmp_path / "r.jpg").write_bytes(b"\xff\xd8" + b"\xff\xe1\0\0" * 9)
    assert "is not a TIFF, PNG or JPEG" in refusal(tmp_path / "r.jpg")


def test_a_transparent_colour(tmp_path: Path, picture: NDArray[np.uint8]) -> None:
    Image.fromarray(picture).save(tmp_path / "t.png", transparency=(1, 2, 3))
    assert "transparent" in refusal(tmp_path / "t.png")


def _samples(folder: Path, picture: NDArray[np.uint8]) -> list[Path]:
    tifffile.imwrite(folder / "plain.tif", picture, photometric="rgb")
    tifffile.imwrite(
        folder / "deflate.tif", picture, photometric="rgb", compression="zlib", rowsperstrip=8
    )
    tifffile.imwrite(
        folder / "lzw.tif", picture, photometric="rgb", compression="lzw", tile=(32, 32)
    )
    tifffile.imwrite(folder / "big.tif", picture, photometric="rgb", bigtiff=True)
    image = Image.fromarray(picture)
    icc = profiles.wide()
    image.save(folder / "p.png", icc_profile=icc)
    image.save(folder / "b.jpg", icc_profile=icc, quality=90)
    image.save(folder / "g.jpg", icc_profile=icc, quality=90, progressive=True)
    return sorted(folder.iterdir())


def test_truncated_files(tmp_path: Path, picture: NDArray[np.uint8]) -> None:
    for path in _samples(tmp_path, picture):
        data = path.read_bytes()
        for share in (0.02, 0.3, 0.6, 0.9, 0.995):
            path.write_bytes(data[: int(len(data) * share)])
            refusal(path)


def test_mutated_files_are_read_or_refused_but_never_crash(
    tmp_path: Path, picture: NDArray[np.uint8]
) -> None:
    """Single bytes turn over, most of them in the headers, where sizes and offsets stand."""
    rng = np.random.default_rng(5)
    outcomes = {"read": 0, "refused": 0}
    for path in _samples(tmp_path, picture):
        data = path.read_bytes()
        for _ in range(120):
            broken = bytearray(data)
            # tifffile puts its directory in front; so do PNG and JPEG with theirs.
            for at in rng.integers(0, min(len(data), 900), 3):
                broken[at] = rng.integers(0, 256)
            path.write_bytes(broken)
            try:
                frame = read_frame(path)
            except InputError:
                outcomes["refused"] += 1
            else:
                outcomes["read"] += 1
                assert np.isfinite(frame.pixels).all()
    assert min(outcomes.values()) > 50, outcomes


def test_a_tiff_that_claims_a_huge_picture_is_refused_before_memory_is_taken(
    tmp_path: Path, picture: NDArray[np.uint8]
) -> None:
    tifffile.imwrite(tmp_path / "h.tif", picture, photometric="rgb", compression="zlib")
    for side in (90_000, 3_000_000_000):
        with tifffile.TiffFile(tmp_path / "h.tif", mode="r+b") as file:
            for name in ("ImageWidth", "ImageLength"):
                file.pages.first.tags[name].overwrite(side, dtype="I")
        tracemalloc.start()
        refusal(tmp_path / "h.tif")
        peak = tracemalloc.get_traced_memory()[1]
        tracemalloc.stop()
        assert peak < 20e6


def test_a_png_that_claims_a_huge_picture(tmp_path: Path, picture: NDArray[np.uint8]) -> None:
    Image.fromarray(picture).save(tmp_path / "h.png")
    data = bytearray((tmp_path / "h.png").read_bytes())
    # 400 MP are read if they are there; a header alone holds none.
    cases = {(20_000, 20_000): "has only", (2_000_000_000, 3): "announces", (0, 5): ""}
    for (width, height), reason in cases.items():
        data[16:24] = struct.pack(">II", width, height)
        data[29:33] = struct.pack(">I", zlib.crc32(data[12:29]))
        (tmp_path / "h.png").write_bytes(data)
        assert reason in refusal(tmp_path / "h.png")


def test_limits_stand_on_both_sides() -> None:
    check_size("a", MAX_SIDE_PX, 6000)
    with pytest.raises(InputError):
        check_size("a", MAX_SIDE_PX + 1, 1)
    with pytest.raises(InputError):
        check_size("a", 30_000, MAX_PIXELS // 30_000 + 1)
    check_claim("a", 2_700_000, 1000)
    with pytest.raises(InputError):
        check_claim("a", 3_000_000, 1000)


@pytest.mark.parametrize("cut", [0, 100, 131, 200, 500])
def test_a_damaged_profile(tmp_path: Path, picture: NDArray[np.uint8], cut: int) -> None:
    profile = profiles.srgb()[:cut] + b"\x07" * (20 if cut < 200 else 0)
    tifffile.imwrite(tmp_path / "c.tif", picture, photometric="rgb", iccprofile=profile)
    assert "profile is damaged" in refusal(tmp_path / "c.tif")


def test_masks_of_other_sizes_kinds_and_colours(tmp_path: Path, picture: NDArray[np.uint8]) -> None:
    Image.fromarray(picture[..., 0]).save(tmp_path / "m.png")
    with pytest.raises(InputError, match=r"80 x 60 px but the background frame is 81 x 60"):
        read_mask(tmp_path / "m.png", size=(81, 60))
    Image.fromarray(picture).save(tmp_path / "c.png")
    with pytest.raises(InputError, match="has colours"):
        read_mask(tmp_path / "c.png", size=(80, 60))
    tifffile.imwrite(tmp_path / "f.tif", picture[..., 0].astype(np.float32))
    with pytest.raises(InputError, match="8 or 16 bits"):
        read_mask(tmp_path / "f.tif", size=(80, 60))
    with pytest.raises(InputError, match="8-bit greyscale"):
        read_labels(tmp_path / "c.png")
