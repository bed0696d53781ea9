"""`blendkit pairs`: what it writes, prints and refuses."""

import json
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner, Result

from blendkit.batch.pairs_file import read_pairs
from blendkit.cli.main import main
from blendkit.files import write_picture
from blendkit.frame import Capture, Frame
from blendkit.simulate import SCENES, PairSpec, make_pair


@pytest.fixture(scope="module")
def shoot(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("gate")
    scene = SCENES["thick_boughs"](seed=3, size=(180, 120))
    spec = PairSpec(foreground_disc_px=(8, 1.2), background_disc_px=(5, 1.1), seed=3)
    pair = make_pair(scene, spec)
    for name, frame in (("P1.jpg", pair.background), ("P2.jpg", pair.foreground)):
        write_picture(folder / name, frame.pixels, like=frame)
    odd = Frame(np.full((120, 180, 3), 0.3, np.float32), Capture(f_number=4.0, camera="Other"))
    write_picture(folder / "Q1.jpg", odd.pixels, like=odd)
    return folder


def run(*arguments: str | Path) -> Result:
    return CliRunner().invoke(main, ["pairs", *map(str, arguments)])


def test_pairs_writes_a_list_that_batch_can_read(shoot: Path, tmp_path: Path) -> None:
    result = run(shoot, "-o", tmp_path / "list.toml")
    assert result.exit_code == 0, result.output
    (pair,) = read_pairs(tmp_path / "list.toml")
    assert (pair.background.name, pair.foreground.name) == ("P1.jpg", "P2.jpg")
    assert "P1.jpg + P2.jpg" in result.stdout
    assert "f/2.8 against f/16" in result.stdout
    assert "left alone: Q1.jpg" in result.stdout
    assert "1 pair of 2 frames, 1 left alone" in result.stdout


def test_pairs_prints_json_on_standard_output_alone(shoot: Path, tmp_path: Path) -> None:
    result = run(shoot, "-o", tmp_path / "list.toml", "--json")
    document = json.loads(result.stdout)
    assert document["schema"] == "blendkit.pairs/1"
    assert document["pairs"][0]["kind"] == "aperture"
    assert 0.5 < document["pairs"][0]["certainty"] <= 0.99
    assert document["alone"][0]["path"].endswith("Q1.jpg")


def test_an_edited_list_is_not_replaced_unasked(shoot: Path, tmp_path: Path) -> None:
    (tmp_path / "list.toml").write_text("# mine\n")
    result = run(shoot, "-o", tmp_path / "list.toml")
    assert result.exit_code == 2
    assert "--replace" in result.stderr
    assert (tmp_path / "list.toml").read_text() == "# mine\n"
    assert run(shoot, "-o", tmp_path / "list.toml", "--replace").exit_code == 0
    assert "[[pair]]" in (tmp_path / "list.toml").read_text()


@pytest.mark.parametrize("name", ["missing", "empty"])
def test_a_folder_without_pictures_ends_in_one_line(tmp_path: Path, name: str) -> None:
    (tmp_path / "empty").mkdir()
    result = run(tmp_path / name)
    assert result.exit_code == 2
    assert result.stderr.count("\n") == 1
    assert not list((tmp_path / "empty").iterdir())
