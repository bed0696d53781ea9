"""Exif that we write, read by three other libraries; real Exif of others, read by us.

Tags and types: CIPA DC-008-2019 (Exif 2.32), tables 4, 7 and 8.  Readers: Pillow, exifread and
piexif.  The files with real Exif are made by the writers of Pillow and piexif themselves.
"""

from pathlib import Path

import exifread
import numpy as np
import piexif
import pytest
import tifffile
from PIL import Image

from blendkit.files import encode_tiff, exif, ifd, read_frame, write_picture
from blendkit.frame import Embedded, Frame

PIXELS = np.full((30, 40, 3), 0.25, np.float32)
DIRECTORY: ifd.Directory = {
    0x010F: ifd.ascii_entry("Vale"),
    0x0110: ifd.ascii_entry("Vale One"),
    0x8298: ifd.ascii_entry("2025 Community Orchestra"),
    ifd.EXIF: {
        0x829A: ifd.rational_entry((1, 125)),
        0x829D: ifd.rational_entry((28, 10)),
        0x8827: ifd.short_entry(400),
        0x9003: ifd.ascii_entry("2025:10:03 18:41:07"),
        0x9011: ifd.ascii_entry("+02:00"),
        0x9291: ifd.ascii_entry("25"),
        0x920A: ifd.rational_entry((135, 1)),
        0xA434: ifd.ascii_entry("135 mm f/2"),
    },
    ifd.GPS: {0x0001: ifd.ascii_entry("N"), 0x0002: ifd.rational_entry((48, 1), (12, 1), (30, 1))},
}
FRAME = Frame(PIXELS, embedded=Embedded(exif=ifd.dump_block(DIRECTORY), resolution_dpi=(240, 240)))
NAMES = ["r.tif", "r.jpg", "r.png"]


@pytest.fixture(params=[*NAMES, "big.tif"])
def written(
    tmp_path: Path, request: pytest.FixtureRequest, monkeypatch: pytest.MonkeyPatch
) -> Path:
    if request.param == "big.tif":
        monkeypatch.setattr(encode_tiff, "BIG_FROM_BYTES", 10)
    path = tmp_path / request.param
    write_picture(path, PIXELS, like=FRAME)
    return path


def test_pillow_finds_every_tag_in_its_directory(written: Path) -> None:
    with Image.open(written) as image:
        found = image.getexif()
        details, position = found.get_ifd(0x8769), found.get_ifd(0x8825)
        assert image.info["dpi"] == pytest.approx((240, 240), abs=0.01)
        assert image.info["icc_profile"]
        image.load()
    assert (found[0x010F], found[0x0110]) == ("Vale", "Vale One")
    assert found[0x8298] == "2025 Community Orchestra"
    assert found[0x0131].startswith("blendkit ")
    assert found[0x0112] == 1
    assert details[0x829A] == pytest.approx(1 / 125)
    assert details[0x829D] == pytest.approx(2.8)
    assert details[0x8827] == 400
    assert details[0x9003] == "2025:10:03 18:41:07"
    assert (details[0x9011], details[0x9291]) == ("+02:00", "25")
    assert details[0x920A] == 135
    assert details[0xA434] == "135 mm f/2"
    assert (details[0xA002], details[0xA003]) == (40, 30)
    assert position[2] == (48, 12, 30)


def test_exifread_finds_the_same(written: Path) -> None:
    if written.name == "big.tif":
        pytest.skip("exifread reads classic TIFF only")
    with written.open("rb") as stream:
        found = {name: str(tag) for name, tag in exifread.process_file(stream).items()}
    assert found["Image Model"] == "Vale One"
    assert found["EXIF ExposureTime"] == "1/125"
    assert found["EXIF FNumber"] == "14/5"
    assert found["EXIF ISOSpeedRatings"] == "400"
    assert found["EXIF DateTimeOriginal"] == "2025:10:03 18:41:07"
    assert found["EXIF FocalLength"] == "135"
    assert found["EXIF LensModel"] == "135 mm f/2"
    assert found["GPS GPSLatitude"] == "[48, 12, 30]"
    assert not any(name.startswith("Thumbnail") for name in found)


@pytest.mark.parametrize("name", ["r.tif", "r.jpg"])
def test_piexif_finds_the_same(tmp_path: Path, name: str) -> None:
    write_picture(tmp_path / name, PIXELS, like=FRAME)
    found = piexif.load(str(tmp_path / name))
    assert found["0th"][piexif.ImageIFD.Model] == b"Vale One"
    assert found["Exif"][piexif.ExifIFD.FNumber] == (28, 10)
    assert found["Exif"][piexif.ExifIFD.ExposureTime] == (1, 125)
    assert found["GPS"][piexif.GPSIFD.GPSLatitude] == ((48, 1), (12, 1), (30, 1))
    assert found["thumbnail"] is None


def test_tifffile_still_reads_the_pixels_behind_the_new_directory(written: Path) -> None:
    if written.suffix != ".tif":
        pytest.skip("a TIFF's matter")
    with tifffile.TiffFile(written) as file:
        assert file.is_bigtiff == (written.name == "big.tif")
        assert len(file.pages) == 1
        assert file.pages.first.tags["ExifTag"].value["FNumber"] == (28, 10)
        assert len(np.unique(file.pages.first.asarray())) == 1


def test_exif_written_by_piexif_is_read(tmp_path: Path) -> None:
    block = piexif.dump(
        {
            "0th": {piexif.ImageIFD.Make: b"Vale", piexif.ImageIFD.XResolution: (300, 1),
                    piexif.ImageIFD.YResolution: (300, 1), piexif.ImageIFD.Orientation: 3},
            "Exif": {piexif.ExifIFD.FNumber: (16, 1), piexif.ExifIFD.ISOSpeedRatings: 1600,
                     piexif.ExifIFD.DateTimeOriginal: b"2025:10:03 18:42:00"},
            "1st": {}, "GPS": {}, "Interop": {}, "thumbnail": None,
        }
    )  # fmt: skip
    Image.new("RGB", (20, 10), (9, 9, 9)).save(tmp_path / "p.jpg", exif=block)
    frame = read_frame(tmp_path / "p.jpg")
    assert (frame.capture.f_number, frame.capture.iso) == (16, 1600)
    assert frame.capture.camera == "Vale"
    assert frame.capture.captured_at is not None
    assert frame.capture.captured_at.minute == 42
    found, dropped = ifd.parse(frame.embedded.exif or b"")
    assert dropped == 0
    assert exif.orientation(found) == 3


def test_exif_written_by_pillow_in_a_tiff_is_read(tmp_path: Path) -> None:
    details = {piexif.ExifIFD.FNumber: (56, 10), piexif.ExifIFD.ISOSpeedRatings: 200,
               piexif.ExifIFD.LensModel: b"135 mm"}  # fmt: skip
    block = piexif.dump({"0th": {piexif.ImageIFD.Model: b"Vale One"}, "Exif": details})
    Image.new("RGB", (20, 10), (9, 9, 9)).save(tmp_path / "p.tif", exif=block, dpi=(144, 144))
    frame = read_frame(tmp_path / "p.tif")
    assert frame.capture.f_number == pytest.approx(5.6)
    assert (frame.capture.iso, frame.capture.lens) == (200, "135 mm")
    assert frame.embedded.resolution_dpi == pytest.approx((144, 144))
