"""`blendkit demo`: its files, its one picture, and figures that are measured."""

import re
from pathlib import Path

import numpy as np
import pytest
import tifffile
from click.testing import CliRunner, Result
from PIL import Image

from blendkit.cli.main import main


@pytest.fixture(scope="module")
def demo(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Result]:
    folder = tmp_path_factory.mktemp("demo") / "made here"
    done = CliRunner().invoke(main, ["demo", str(folder), "--width", "480"])
    assert done.exit_code == 0, done.output
    return folder, done


def test_the_pair_is_16_bit_tiff_with_exif(demo: tuple[Path, Result]) -> None:
    for name, f_number in (("wide.tif", 2.8), ("stopped.tif", 16.0)):
        assert tifffile.imread(demo[0] / name).dtype == np.uint16
        with Image.open(demo[0] / name) as picture:
            details = picture.getexif().get_ifd(0x8769)
        assert float(details[0x829D]) == f_number
        assert float(details[0x920A]) == 135.0


def test_masks_result_and_look_are_there(demo: tuple[Path, Result]) -> None:
    names = {path.name for path in demo[0].iterdir()}
    assert names >= {
        "painted.png", "true-matte.tif", "true-result.tif", "merged.tif", "merged.report.json",
        "merged.matte.tif", "merged.plate.tif", "look.png",
    }  # fmt: skip


def test_the_look_shows_three_views_twice(demo: tuple[Path, Result]) -> None:
    with Image.open(demo[0] / "look.png") as picture:
        width, height = picture.size
        assert picture.mode == "RGB"
    assert width > 2.5 * 480
    assert height > 2 * 320


def test_the_figures_are_those_of_the_files(demo: tuple[Path, Result]) -> None:
    """The printed gain in the whole picture, computed again from the files by other code."""
    found = re.search(r"whole picture: ([\d.]+) dB before, ([\d.]+) dB after", demo[1].stdout)
    assert found is not None
    truth, before, after = (
        linear(tifffile.imread(demo[0] / name))
        for name in ("true-result.tif", "wide.tif", "merged.tif")
    )
    for printed, picture in zip(found.groups(), (before, after), strict=True):
        db = -10 * np.log10(np.square(picture - truth).mean())
        assert float(printed) == pytest.approx(db, abs=0.06)
    off = re.search(r"alignment off by ([\d.]+) px", demo[1].stdout)
    assert off is not None
    assert 0 < float(off.group(1)) < 1.0


def linear(codes: np.ndarray) -> np.ndarray:
    """Decode sRGB as IEC 61966-2-1 states it."""
    encoded = codes / 65535
    return np.where(encoded <= 0.04045, encoded / 12.92, ((encoded + 0.055) / 1.055) ** 2.4)


def test_the_merge_is_better_than_the_background_frame(demo: tuple[Path, Result]) -> None:
    lines = dict(re.findall(r"^  (halo|whole).*?: (.*)$", demo[1].stdout, flags=re.MULTILINE))
    assert lines.keys() == {"halo", "whole"}
    for text in lines.values():
        before, after = (float(number) for number in re.findall(r"([\d.]+) dB", text))
        assert 1.5 < after - before < 30


def test_a_folder_that_cannot_be_made_is_one_line(tmp_path: Path) -> None:
    (tmp_path / "taken").write_text("a file")
    done = CliRunner().invoke(main, ["demo", str(tmp_path / "taken" / "demo")])
    assert done.exit_code == 2
    assert done.stderr.startswith(f"blendkit: {tmp_path / 'taken' / 'demo'}: the folder cannot")
    assert done.stderr.count("\n") == 1
