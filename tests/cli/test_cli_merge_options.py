"""Options of `blendkit merge` that other tests only refuse, all the way to a result."""

import json
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from click.testing import CliRunner

from blendkit.cli.main import main
from blendkit.files import read_frame, read_labels, read_mask, write_grey, write_picture
from blendkit.frame import Source
from blendkit.sidecar import read_sidecar
from blendkit.simulate import SCENES, PairSpec, SimulatedPair, make_pair
from blendkit.simulate.metrics import grid_rms_px, psnr
from blendkit.simulate.rough_mask import rough_mask

SIZE = (192, 128)
KEPT = np.s_[:, :96]
"""Where the background mask is painted: the left half."""
PLACES = ((24, 24), (160, 100), (150, 20))


@pytest.fixture(scope="module")
def found(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, SimulatedPair]:
    """Return a folder with a small pair, a clear frame and both masks, and its truth."""
    folder = tmp_path_factory.mktemp("options")
    spec = PairSpec(
        foreground_disc_px=(14.0, 0.8),
        background_disc_px=(8.0, 1.5),
        shift_px=(3.0, -2.0),
        samples=60,
        seed=3,
    )
    pair = make_pair(SCENES["thick_boughs"](3, SIZE), spec)
    truth = pair.truth
    pixels = {
        "wide": pair.background.pixels,
        "stopped": pair.foreground.pixels,
        "aside": truth.plate,
    }
    for name, taken in pixels.items():
        like = pair.foreground if name == "stopped" else pair.background
        write_picture(folder / f"{name}.tif", taken, like=like)
    write_grey(folder / "here.png", rough_mask(truth.matte, seed=1, reach_px=(4.0, 6.0)))
    kept = np.zeros(SIZE[::-1], np.float32)
    kept[KEPT] = 1
    write_grey(folder / "not-here.png", kept)
    return folder, pair


def merge(found: tuple[Path, SimulatedPair], name: str, *arguments: str) -> dict[str, Any]:
    """Merge with foreground mask, ties and disc, which is quick, and what is given."""
    folder, pair = found
    files = [str(folder / frame) for frame in ("wide.tif", "stopped.tif")]
    ties = [f"--tie={x},{y}={u},{v}" for (x, y), (u, v) in tied(pair)]
    common = ["--foreground-mask", str(folder / "here.png"), *ties, "--disc-px", "14"]
    words = ["merge", *files, "-o", str(folder / name), *common, "--layers", "--json"]
    done = CliRunner().invoke(main, [*words, *arguments])
    assert done.exit_code == 0, done.output
    report: dict[str, Any] = json.loads(done.stdout)
    return report


def tied(pair: SimulatedPair) -> tuple[tuple[tuple[float, float], tuple[float, float]], ...]:
    """Return tie points by the true warp."""
    there = [pair.truth.warp @ (x, y, 1) for x, y in PLACES]
    return tuple(
        ((float(x), float(y)), (round(float(u / w), 2), round(float(v / w), 2)))
        for (x, y), (u, v, w) in zip(PLACES, there, strict=True)
    )


@pytest.fixture(scope="module")
def masked(found: tuple[Path, SimulatedPair]) -> dict[str, Any]:
    print_cm = ("--print", "30x20", "--viewing", "40")
    mask = ("--background-mask", str(found[0] / "not-here.png"))
    return merge(found, "gate.tif", *mask, *print_cm, "--background-f", "4")


@pytest.fixture(scope="module")
def with_clear(found: tuple[Path, SimulatedPair]) -> dict[str, Any]:
    return merge(found, "free.tif", "--clear", str(found[0] / "aside.tif"))


def roles(report: dict[str, Any]) -> list[str]:
    return [item["role"] for item in report["inputs"]]


def test_what_was_given_stands_in_the_report(masked: dict[str, Any]) -> None:
    assert roles(masked) == [
        "background", "foreground", "foreground-mask", "background-mask",
    ]  # fmt: skip
    settings = masked["settings"]
    assert settings["aperture"] == {"foreground_f": None, "background_f": 4.0}
    assert settings["viewing"] == {
        "print_width_cm": 30.0, "print_height_cm": 20.0, "viewing_cm": 40.0,
    }  # fmt: skip


def test_ties_lead_and_are_kept(found: tuple[Path, SimulatedPair], masked: dict[str, Any]) -> None:
    folder, pair = found
    assert read_sidecar(folder / "gate.blendkit.json").ties == tied(pair)
    matrix = np.array(masked["alignment"]["matrix"])
    assert grid_rms_px(matrix, pair.truth.warp, SIZE) < 0.05


def test_nothing_of_the_foreground_frame_comes_where_the_background_mask_is_painted(
    found: tuple[Path, SimulatedPair],
    masked: dict[str, Any],
    with_clear: dict[str, Any],
) -> None:
    folder, _ = found
    assert {*roles(masked)} - {*roles(with_clear)} == {"background-mask"}
    there, free = (read_mask(folder / f"{name}.matte.tif", size=SIZE) for name in ("gate", "free"))
    assert there[KEPT].max() == 0
    assert free[KEPT].mean() > 0.05, "without the mask there is foreground"
    assert there.mean() > 0.01, "and beside it"


def test_the_background_is_rendered_at_the_f_number_asked_for(
    masked: dict[str, Any], with_clear: dict[str, Any]
) -> None:
    """How well it is rendered stands in tests/truth/test_aperture_truth.py."""
    shares = [report["sources"]["plate-rerendered"]["share"] for report in (masked, with_clear)]
    assert shares[0] > 0.5 > 10 * shares[1]


def test_a_clear_frame_gives_the_plate(
    found: tuple[Path, SimulatedPair], with_clear: dict[str, Any]
) -> None:
    folder, pair = found
    assert roles(with_clear) == ["background", "foreground", "clear", "foreground-mask"]
    assert with_clear["sources"]["clear-frame"]["share"] > 0.15
    taken = read_labels(folder / "free.sources.png") == Source.CLEAR_FRAME
    plate = read_frame(folder / "free.plate.tif").pixels
    truth = pair.truth.plate
    before = psnr(pair.background.pixels, truth, region=taken)
    assert before + 20 < psnr(plate, truth, region=taken)
