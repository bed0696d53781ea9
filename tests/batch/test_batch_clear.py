"""A clear frame is told from one more pose; tests/bench/pairing_study.py has the figures."""

import shutil
import tomllib
from datetime import timedelta
from pathlib import Path

import numpy as np
import pytest
from invented_shoots import SIZE, START, Spoiling, Take, write_take

from blendkit.batch.clear import Cleared
from blendkit.batch.pairing import find_pairs
from blendkit.batch.pairs_file import read_pairs, write_pairs
from blendkit.simulate import SCENES, Scene

POSE = (4.0, 1.0)
STOPPED = Take("foreground", 16.0)


@pytest.fixture(scope="module")
def stage() -> Scene:
    """Boughs whose veil can be seen at 240 px; that of thin twigs can often not."""
    return SCENES["thick_boughs"](seed=320, size=SIZE, sitter=True)


def shoot(folder: Path, stage: Scene, takes: list[Take], *, seed: int = 2) -> None:
    rng = np.random.default_rng(seed)
    for number, take in enumerate(takes):
        moment = START + timedelta(seconds=9 * number)
        write_take(folder / f"C_{number}.jpg", stage, take, moment, Spoiling("sound"), 0, rng)


@pytest.mark.parametrize("first", ["background", "clear"])
def test_a_clear_frame_goes_with_its_background_frame(
    tmp_path: Path, stage: Scene, first: str
) -> None:
    takes = [Take("background", pose_px=POSE), Take("clear", cleared=True, pose_px=POSE)]
    shoot(tmp_path, stage, [*(takes if first == "background" else takes[::-1]), STOPPED])
    found = find_pairs(tmp_path)
    order = ("C_0.jpg", "C_1.jpg") if first == "background" else ("C_1.jpg", "C_0.jpg")
    (pair,) = found.pairs
    assert pair.clear is not None
    assert (pair.background.name, pair.clear.name) == order
    assert "the foreground is gone" in pair.why
    assert found.alone == ()

    write_pairs(tmp_path / "pairs.toml", found)
    (read,) = read_pairs(tmp_path / "pairs.toml")
    assert read.clear == pair.clear.resolve()
    listed = tomllib.loads((tmp_path / "pairs.toml").read_text())["pair"]
    assert [entry["clear"] for entry in listed] == [order[1]]


def test_a_copy_of_the_same_file_is_no_clear_frame(tmp_path: Path, stage: Scene) -> None:
    shoot(tmp_path, stage, [Take("background", pose_px=POSE), STOPPED])
    shutil.copy(tmp_path / "C_0.jpg", tmp_path / "copy of C_0.jpg")
    found = find_pairs(tmp_path)
    assert found.pairs
    assert all(pair.clear is None for pair in found.pairs)


def test_a_pose_that_is_held_and_one_that_changes_stay_pairs_of_their_own(
    tmp_path: Path, stage: Scene
) -> None:
    takes = [
        Take("background", pose_px=POSE),
        Take("background", pose_px=POSE),
        Take("background", pose_px=(-6.0, 0.0)),
    ]
    shoot(tmp_path, stage, [*takes, STOPPED])
    found = find_pairs(tmp_path)
    assert [pair.background.name for pair in found.pairs] == ["C_0.jpg", "C_1.jpg", "C_2.jpg"]
    assert all(pair.clear is None for pair in found.pairs)


def test_a_sitter_who_moved_or_a_veil_that_stayed_speaks_against_it() -> None:
    gone = Cleared(sitter_px=0.2, veil_ev=(0.12, 0.1), nearer=0.2)
    assert gone.sure
    assert not Cleared(sitter_px=3.0, veil_ev=gone.veil_ev, nearer=gone.nearer).sure
    assert not Cleared(sitter_px=0.2, veil_ev=(0.01, 0.01), nearer=0.0).sure
    assert not Cleared(sitter_px=float("inf"), veil_ev=gone.veil_ev, nearer=gone.nearer).sure
