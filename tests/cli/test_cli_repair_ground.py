"""A soft mid-ground on real files: flagged, repaired by `merge` and by `repair`, and reported."""

import json
import sys
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from click.testing import CliRunner
from PIL import Image

from blendkit.cli.main import main
from blendkit.files import read_frame, write_grey, write_picture
from blendkit.frame import Capture, Frame, Source
from blendkit.simulate.metrics import psnr

sys.path.insert(0, str(Path(__file__).parents[1] / "midground"))
from warped_ground import Lens, View, photograph, receding, with_noise

SIZE = (480, 320)
FAR, NEAR = Lens(135, 4.6, 11.0, SIZE[0]), Lens(135, 4.6, 4.0, SIZE[0])
MIDDLE = Lens(135, 16.0, 5.9, SIZE[0])


def written(folder: Path, name: str, view: View, lens: Lens, seed: int) -> Path:
    """Write a frame as a camera would leave it: f-number and focal length, no focus distance."""
    capture = Capture(f_number=lens.f_number, iso=100, focal_length_mm=lens.focal_length_mm)
    pixels = with_noise(photograph(view, lens, seed=seed), 100, seed=seed)
    write_picture(folder / name, pixels, like=Frame(pixels, capture, name))
    return folder / name


@pytest.fixture(scope="module")
def shoot(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, View]:
    """Return a folder with far.tif, near.tif, middle.tif and the matte of near ground."""
    folder = tmp_path_factory.mktemp("ground")
    view = receding(SIZE, 3, surface="gravel", horizon=0.3)
    for seed, (name, lens) in enumerate((("far", FAR), ("near", NEAR), ("middle", MIDDLE))):
        written(folder, f"{name}.tif", view, lens, seed)
    discs = [np.abs(lens.disc_px(view.distance_m)) for lens in (FAR, NEAR)]
    write_grey(folder / "matte.tif", (discs[1] < discs[0]).astype(np.float32))
    return folder, view


def run(*arguments: object) -> dict[str, Any]:
    done = CliRunner().invoke(main, [*map(str, arguments), "--json"])
    assert done.exit_code == 0, done.output
    report: dict[str, Any] = json.loads(done.stdout)
    return report


def merged(folder: Path, out: str, *more: object) -> dict[str, Any]:
    pair = "--background", folder / "far.tif", "--foreground", folder / "near.tif"
    known = "--matte", folder / "matte.tif", "--aligned"
    return run("merge", *pair, *known, "-o", folder / out, *more)


def soft(report: dict[str, Any]) -> list[str]:
    return [f["severity"] for f in report["flags"] if f["kind"] == "soft-midground"]


def test_merge_repairs_from_a_bridge_frame_and_reports_before_and_after(
    shoot: tuple[Path, View],
) -> None:
    folder, view = shoot
    report = merged(folder, "b.tif", "--repair", "bridge", "--bridge", folder / "middle.tif")
    (repair,) = report["repairs"]
    assert (repair["flag"], repair["mode"], repair["applied"]) == ("soft-midground", "bridge", True)
    assert (repair["before"], repair["after"]) == ("fail", None)
    assert soft(report) == []
    assert "middle.tif" in repair["why"]
    assert [i["role"] for i in report["inputs"]] == ["background", "foreground", "matte", "bridge"]
    taken = np.asarray(Image.open(folder / "b.sources.png")) == Source.BRIDGE_FRAME
    assert report["sources"]["bridge-frame"]["share"] == pytest.approx(taken.mean(), abs=1e-3)
    truth = photograph(view, MIDDLE, seed=2)
    inner = taken & (np.abs(FAR.disc_px(view.distance_m)) > 1.5)
    assert psnr(read_frame(folder / "b.tif").pixels, truth, region=inner) > 34


def test_auto_without_a_bridge_makes_the_flag_quieter_and_says_why(
    shoot: tuple[Path, View],
) -> None:
    folder, _ = shoot
    plain = merged(folder, "plain.tif", "--page")
    assert soft(plain) == ["fail"]
    assert plain["repairs"] == []
    page = (folder / "plain.report.html").read_text()
    assert "soft-midground" in page
    assert "http" not in page.replace("http://www.w3.org", "")
    again = run("repair", folder / "plain.report.json", "-o", folder / "auto.tif")
    applied = [one for one in again["repairs"] if one["applied"]]
    assert len(applied) == 1
    assert applied[0]["before"] == "fail"
    assert applied[0]["after"] in (None, "note", "warn")
    assert applied[0]["why"]
    assert all(one["why"] for one in again["repairs"])
    assert soft(again) == ([] if applied[0]["after"] is None else [applied[0]["after"]])
    assert again["sources"]["repaired"]["share"] > 0.01
