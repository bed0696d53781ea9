"""Pictures of other makers: real Exif, wide gamut, sixteen bits, deliberate damage.

- piexif 1.1.3, source distribution: pictures with real Exif (fetched by name, kept in the cache of
  pytest; skipped offline).
- Pillow, source distribution: 600 pictures, many of them damaged on purpose.  47 MB, so only where
  BLENDKIT_SLOW is set.
- Debian's libjxl-testdata, where installed: PNG of 16 bits, linear, with wide-gamut profiles.
"""

import contextlib
import os
import subprocess
import sys
import tarfile
import warnings
import zipfile
from pathlib import Path

import numpy as np
import piexif
import pytest
from PIL import Image, ImageOps

from blendkit.errors import InputError
from blendkit.files import curves, profiles, read_frame, write_picture
from blendkit.frame import Frame

JXL = Path("/usr/share/libjxl-testdata")


def sdist(name: str, request: pytest.FixtureRequest) -> Path:
    """Return the unpacked source distribution of a package; skip where it cannot be had."""
    folder = request.config.cache.mkdir(f"sdist-{name}")
    if not any(folder.iterdir()):
        asked = [sys.executable, "-m", "pip", "download", "-q", "--no-deps", "--no-binary", ":all:"]
        try:
            run = subprocess.run(
                [*asked, "--dest", str(folder), name], capture_output=True, timeout=180, check=False
            )
        except subprocess.TimeoutExpired:
            pytest.skip(f"{name}: the registry did not answer")
        if run.returncode:
            pytest.skip(f"{name}: its source distribution cannot be fetched here")
        for archive in list(folder.iterdir()):
            if archive.suffix == ".zip":
                zipfile.ZipFile(archive).extractall(folder)  # noqa: S202 - drops outer paths
            else:
                with tarfile.open(archive) as bundle:
                    bundle.extractall(folder, filter="data")
    return folder


def pictures(folder: Path) -> list[Path]:
    suffixes = (".jpg", ".jpeg", ".png", ".tif", ".tiff")
    return sorted(path for path in folder.rglob("*") if path.suffix.lower() in suffixes)


def readable(folder: Path) -> list[tuple[Path, Frame]]:
    """Return what can be read; whatever else comes out of the others fails the test."""
    found = []
    for path in pictures(folder):
        with contextlib.suppress(InputError):
            found.append((path, read_frame(path)))
    return found


def test_real_exif_is_read_as_piexif_reads_it_and_carried_on(
    request: pytest.FixtureRequest, tmp_path: Path
) -> None:
    frames = readable(sdist("piexif==1.1.3", request))
    assert len(frames) >= 4
    compared = 0
    for path, frame in frames:
        if path.suffix != ".jpg":
            continue
        known = piexif.load(str(path))["Exif"]
        for value, tag in (
            (frame.capture.f_number, piexif.ExifIFD.FNumber),
            (frame.capture.focal_length_mm, piexif.ExifIFD.FocalLength),
            (frame.capture.exposure_time_s, piexif.ExifIFD.ExposureTime),
        ):
            if tag in known and value is not None:
                assert value == pytest.approx(known[tag][0] / known[tag][1])
                compared += 1
        write_picture(tmp_path / "o.tif", frame.pixels, like=frame)
        again = read_frame(tmp_path / "o.tif").capture
        assert again.f_number == frame.capture.f_number
        assert again.captured_at == frame.capture.captured_at
    assert compared >= 3


@pytest.mark.skipif("BLENDKIT_SLOW" not in os.environ, reason="fetches 47 MB: set BLENDKIT_SLOW")
def test_pillows_samples_are_read_as_pillow_reads_them(request: pytest.FixtureRequest) -> None:
    frames = readable(sdist("pillow", request))
    assert len(frames) > 300
    compared = 0
    for path, frame in frames:
        if frame.bits != 8 or frame.embedded.icc_profile != profiles.srgb():
            continue
        if path.name.startswith(("old-style-jpeg", "hopper_webp")):
            continue  # Pillow upsamples colour otherwise, or has no such codec
        with warnings.catch_warnings(action="ignore"), Image.open(path) as image:
            codes = np.asarray(ImageOps.exif_transpose(image).convert("RGB"))
        expected = curves.SRGB.table(255)[codes]
        np.testing.assert_allclose(frame.pixels, expected, atol=1e-5, err_msg=path.name)
        compared += 1
    assert compared > 100


@pytest.mark.skipif(not JXL.is_dir(), reason="needs Debian's libjxl-testdata")
def test_sixteen_bit_wide_gamut_pngs_keep_every_code(tmp_path: Path) -> None:
    deep = [
        (path, frame) for path, frame in readable(JXL) if frame.bits == 16 and path.suffix == ".png"
    ]
    assert len(deep) >= 10
    for path, frame in deep:
        write_picture(tmp_path / "o.png", frame.pixels, like=frame)
        again = read_frame(tmp_path / "o.png")
        assert again.embedded.icc_profile == frame.embedded.icc_profile
        np.testing.assert_allclose(again.pixels, frame.pixels, atol=2e-5, err_msg=path.name)
