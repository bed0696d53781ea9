"""`blendkit batch`: exit codes, lines of JSON, wrong use."""

import json
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from blendkit.batch.memory import (
    BASE_BYTES,
    BYTES_PER_PX,
    PARENT_BYTES,
    estimated_bytes,
    processes_for,
)
from blendkit.cli.batch import _pairs
from blendkit.cli.main import main
from blendkit.files import write_grey, write_picture
from blendkit.simulate import SCENES, PairSpec, make_pair

LIST = """\
[settings.alignment]
coarse_size_px = 96
[[pair]]
name = "gate"
background = "P1.tif"
foreground = "P2.tif"
matte = "matte.png"
[[pair]]
name = "spoiled"
background = "P1.tif"
foreground = "P3.tif"
[[pair]]
name = "later"
background = "P1.tif"
foreground = "P2.tif"
skip = true
"""


@pytest.fixture(scope="module")
def shoot(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("gate")
    scene = SCENES["thick_boughs"](seed=3, size=(180, 120))
    spec = PairSpec(foreground_disc_px=(8, 1.2), background_disc_px=(5, 1.1), seed=3)
    pair = make_pair(scene, spec)
    for name, frame in (("P1.tif", pair.background), ("P2.tif", pair.foreground)):
        write_picture(folder / name, frame.pixels, like=frame)
    write_grey(folder / "matte.png", pair.truth.matte)
    (folder / "P3.tif").write_bytes(b"II*\0 and nothing more")
    (folder / "pairs.toml").write_text(LIST)
    return folder


def run(*arguments: str | Path) -> Result:
    return CliRunner().invoke(main, ["batch", *map(str, arguments)])


def lines(result: Result) -> list[dict[str, object]]:
    return [json.loads(line) for line in result.stdout.splitlines()]


def test_a_batch_goes_on_past_a_spoiled_pair_and_ends_with_code_4(
    shoot: Path, tmp_path: Path
) -> None:
    out = tmp_path / "out"
    first = run(shoot, "--out", out, "--json", "--jobs", "2")
    assert first.exit_code == 4, first.output
    *pairs, end = lines(first)
    states = {str(pair["name"]): pair["status"] for pair in pairs}
    assert states["spoiled"] == "failed"
    assert states["later"] == "left-out"
    assert states["gate"] in ("merged", "needs-a-look")
    assert end["event"] == "end"
    assert (out / "gate.tif").exists()
    assert (out / "summary.html").exists()
    again = run(shoot / "pairs.toml", "--out", out, "--json")
    assert {pair["name"]: pair["new"] for pair in lines(again)[:-1]} == {
        "gate": False, "spoiled": True, "later": False,
    }  # fmt: skip
    alone = run(shoot, "--out", out, "--only", "gate")
    assert alone.exit_code == 0
    assert "done before" in alone.stderr
    summed_up = json.loads((out / "summary.json").read_text())["pairs"]
    assert [pair["name"] for pair in summed_up] == ["gate", "spoiled", "later"]


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (["--memory", "lots"], "12GB"),
        (["--only", "nobody"], "no such pair"),
        (["--deliver", "full,name=lab"], "gives all pairs one name"),
        (["--deliver", "full,name={stem}-{size}"], "there is no field 'size'"),
        (["--deliver", "1x1", "--deliver", "1x1,sharpen=1"], "copy 2 would be named"),
        (["--deliver", "full", "--deliver", "90x60"], "gate-srgb-180x120.jpg as copy 1 is"),
        (["--deliver", "full,name={number:q}"], "check its braces"),
        (["--format", "jpg", "--deliver", "full,name={stem}"], "gate.jpg as the result of gate is"),
        (["--jobs", "0"], "0 is not in the range"),
        (["--settings", "missing.toml"], "check the name"),
        (["--cluster", "tcp://127.0.0.1:1"], "no scheduler answers"),
    ],
)
def test_wrong_use_ends_with_code_2(
    shoot: Path,
    tmp_path: Path,
    arguments: list[str],
    words: str,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr("blendkit.batch.cluster._CONNECT_S", 0.5)
    result = run(shoot, "--out", tmp_path / "out", *arguments)
    assert result.exit_code == 2, result.output
    assert words in result.stderr
    assert not list(tmp_path.glob("out/*.tif"))


def test_a_mistake_in_a_copys_name_is_found_before_the_list_is_written(
    shoot: Path, tmp_path: Path
) -> None:
    frames = tmp_path / "frames"
    frames.mkdir()
    for name in ("P1.tif", "P2.tif"):
        (frames / name).write_bytes((shoot / name).read_bytes())
    result = run(frames, "--out", tmp_path / "out", "--deliver", "full,name={size}")
    assert result.exit_code == 2, result.output
    assert not (tmp_path / "out").exists()


def test_results_never_replace_frames(shoot: Path, tmp_path: Path) -> None:
    listed = tmp_path / "p.toml"
    head = f'folder = "{shoot.as_posix()}"\n'
    listed.write_text(head + LIST.replace('name = "gate"', 'name = "P1"'))
    before = (shoot / "P1.tif").read_bytes()
    result = run(listed, "--out", shoot)
    assert result.exit_code == 2
    assert "choose another --out" in result.stderr
    assert (shoot / "P1.tif").read_bytes() == before


def test_processes_are_as_many_as_memory_allows() -> None:
    need = estimated_bytes((6000, 4000))
    assert need == BASE_BYTES + 24_000_000 * BYTES_PER_PX
    for count in (1, 2, 5):
        limit = PARENT_BYTES + count * need
        assert processes_for([need] * 9, limit, asked=8) == count
        assert processes_for([need] * 9, limit + need - 1, asked=8) == count
    assert processes_for([need] * 3, 100 * need, asked=8) == 3
    assert processes_for([need], 0, asked=8) == 1


def test_the_list_that_a_batch_wrote_is_edited_and_taken(shoot: Path, tmp_path: Path) -> None:
    frames, out = tmp_path / "frames", tmp_path / "out"
    frames.mkdir()
    for name in ("P1.tif", "P2.tif"):
        (frames / name).write_bytes((shoot / name).read_bytes())
    out.mkdir()
    found = _pairs(frames, out, None)
    assert [pair.skip for pair in found] == [False]
    listed = out / "pairs.toml"
    listed.write_text(listed.read_text().replace("\n[[pair]]\n", "\n[[pair]]\nskip = true\n"))
    assert [pair.skip for pair in _pairs(frames, out, None)] == [True]


def test_ctrl_c_while_pairs_are_looked_for_ends_with_code_130(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def broken_off(*_: object, **__: object) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr("blendkit.batch.pairing.find_pairs", broken_off)
    result = run(tmp_path, "--out", tmp_path / "out", "--json")
    assert result.exit_code == 130, result.output
    assert lines(result)[-1]["interrupted"] is True
    assert "run again" in result.stderr
    assert not (tmp_path / "out").exists()
