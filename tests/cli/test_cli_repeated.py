"""A merge that is done again by `repair` or on the page is the same merge, but for what changed."""

import json
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner
from PIL import Image

from blendkit.cli import merge_run, repair_run
from blendkit.cli.main import main
from blendkit.cli.repair import read_report
from blendkit.errors import InputError
from blendkit.masks.strokes import Stroke, strokes_document
from blendkit.review import work
from blendkit.review.folder import PairFiles, pairs_in
from blendkit.review.state import PairState
from blendkit.sidecar import read_sidecar, sidecar_path, write_sidecar

IMAGES = Path(__file__).parents[2] / "testimages"
WIDE, STOPPED = IMAGES / "gate-wide.tif", IMAGES / "gate-stopped.tif"
SIZE = (480, 320)
STROKE = Stroke(((20.0, 20.0), (90.0, 60.0)), 9.0, "foreground")
TIE = "100,80=100,80"


class Seen(Exception):  # noqa: N818 - ends a merge early, once it is known what it was given
    """What a merge was given."""

    def __init__(self, hints: Any, settings: Any) -> None:
        super().__init__()
        self.hints, self.settings = hints, settings


def stop(*_frames: Any, hints: Any, settings: Any, **_more: Any) -> None:
    raise Seen(hints, settings)


def run(command: str, *arguments: object) -> None:
    done = CliRunner().invoke(main, [command, *map(str, arguments)], catch_exceptions=False)
    assert done.exit_code == 0, done.output


@pytest.fixture(scope="module")
def merged(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return a folder with a merge that was asked for in an unusual way."""
    folder = tmp_path_factory.mktemp("merged")
    Image.new("L", SIZE).save(folder / "black.png")
    (folder / "s.json").write_text(json.dumps(strokes_document((STROKE,), SIZE)))
    run("merge", WIDE, STOPPED, "-o", folder / "gate.tif", "--matte", folder / "black.png",
        "--disc-px", 33, "--aligned", "--private", "--bits", 8)  # fmt: skip
    return folder


@pytest.fixture
def painted(merged: Path) -> Path:
    """Return its report; on the page somebody painted a stroke and tied a point since."""
    path = sidecar_path(merged / "gate.tif")
    ties = (((100.0, 80.0), (100.0, 80.0)),)
    write_sidecar(path, replace(read_sidecar(path), strokes=(STROKE,), size=SIZE, ties=ties))
    return merged / "gate.report.json"


def test_a_repair_merges_with_what_was_painted_and_tied(
    painted: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(repair_run, "merge_pair", stop)
    with pytest.raises(Seen) as seen:
        run("repair", painted, "--repair", "taper", "-o", painted.with_name("r.tif"))
    hints = seen.value.hints
    assert hints.ties == (((100.0, 80.0), (100.0, 80.0)),)
    assert hints.aligned
    assert hints.front_strokes.max() == 1
    assert seen.value.settings.discs.disc_px == 33


def test_a_bridge_of_an_earlier_repair_need_not_be_there(merged: Path) -> None:
    document = json.loads((merged / "gate.report.json").read_text())
    document["inputs"].append({"path": "/gone/middle.tif", "role": "bridge"})
    given = repair_run.given_from(document)
    assert given.background == WIDE
    assert given.aligned


def files(folder: Path) -> PairFiles:
    return pairs_in(folder, frames=[IMAGES])[0]


def test_the_page_merges_as_it_was_asked_for(
    painted: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    pair = files(painted.parent)
    assert (pair.bits, pair.asked.private, pair.asked.aligned) == (8, True, True)
    monkeypatch.setattr(work, "merge_pair", stop)
    with pytest.raises(Seen) as seen:
        work.merge_in_full(work.Task(pair, *PairState(pair).work()), lambda *_: None)
    assert seen.value.settings.discs.disc_px == 33
    assert seen.value.hints.aligned
    assert seen.value.hints.matte is not None


def test_what_the_list_of_pairs_says_now_counts(merged: Path) -> None:
    (merged / "pairs.toml").write_text(
        f'[[pair]]\nname = "gate"\nbackground = "{WIDE}"\nforeground = "{STOPPED}"\n'
        'strokes = "s.json"\n[pair.settings.discs]\ndisc_px = 17.0\n'
    )
    sidecar_path(merged / "gate.tif").unlink(missing_ok=True)
    try:
        state = PairState(files(merged))
    finally:
        (merged / "pairs.toml").unlink()
    assert state.settings.discs.disc_px == 17
    assert state.history.now == (STROKE,), "its file of strokes is shown until one paints"
    state.undo(SIZE)
    assert PairState(state.files).history.now == (), "and what was undone stays undone"


def test_a_file_of_strokes_outlives_a_merge_on_the_page(
    tmp_path: Path,
) -> None:
    """The report names it, so that `repair` and the page know it the next time."""
    Image.new("L", SIZE).save(tmp_path / "black.png")
    (tmp_path / "s.json").write_text(json.dumps(strokes_document((STROKE,), SIZE)))
    run("merge", WIDE, STOPPED, "-o", tmp_path / "gate.tif", "--matte", tmp_path / "black.png",
        "--aligned", "--strokes", tmp_path / "s.json")  # fmt: skip
    sidecar_path(tmp_path / "gate.tif").unlink(missing_ok=True)
    state = PairState(files(tmp_path))
    state.set({"plate.veil_error": 0.07})
    work.merge_in_full(work.Task(state.files_read, *state.work()), lambda *_: None)
    document = read_report(tmp_path / "gate.report.json")
    assert repair_run.given_from(document).strokes == tmp_path / "s.json"
    again = PairState(files(tmp_path))
    assert again.history.now == (STROKE,)
    assert not again.stale
    again.paint((replace(STROKE, diameter_px=11.0),), SIZE)
    assert again.files_read.strokes is None, "the sidecar's strokes count from now on"


def test_a_mask_that_cannot_be_reached_is_not_left_out_in_silence(merged: Path) -> None:
    report = merged / "gate.report.json"
    before = report.read_text()
    report.write_text(before.replace("black.png", "gone.png"))
    try:
        pair = files(merged)
    finally:
        report.write_text(before)
    assert pair.unreachable == (str(merged / "gone.png"),)
    with pytest.raises(InputError, match=r"gone\.png: is part of this pair"):
        work.merge_in_full(work.Task(pair, *PairState(pair).work()), lambda *_: None)


def test_what_the_page_keeps_while_a_merge_runs_is_not_lost(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    out = tmp_path / "gate.tif"
    path = sidecar_path(out)
    really = merge_run.merge_pair

    def meanwhile(*frames: Any, **more: Any) -> Any:
        write_sidecar(path, replace(read_sidecar(path), decision="sent-back", size=SIZE,
                                    strokes=(STROKE,)))  # fmt: skip
        return really(*frames, **more)

    monkeypatch.setattr(merge_run, "merge_pair", meanwhile)
    Image.new("L", SIZE).save(tmp_path / "black.png")
    run("merge", WIDE, STOPPED, "-o", out, "--matte", tmp_path / "black.png", "--aligned")
    kept = read_sidecar(path)
    assert (kept.decision, kept.strokes) == ("sent-back", (STROKE,))
    assert "background" in kept.inputs


def test_a_repair_kept_on_the_page_is_carried_out_by_merge(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    asked: list[tuple[str, ...]] = []
    really = merge_run.repaired_by

    def noted(merged: Any, pair: Any, modes: Any, bridges: Any = ()) -> Any:
        asked.append(tuple(modes))
        return really(merged, pair, modes, bridges)

    monkeypatch.setattr(merge_run, "repaired_by", noted)
    Image.new("L", SIZE).save(tmp_path / "black.png")
    kept = [{"flag": "soft-midground", "mode": mode} for mode in ("taper", "bridge")]
    write_sidecar(
        tmp_path / "gate.blendkit.json",
        replace(read_sidecar(tmp_path / "none.json"), repairs=tuple(kept)),
    )
    arguments = ["-o", tmp_path / "gate.tif", "--matte", tmp_path / "black.png", "--aligned"]
    run("merge", WIDE, STOPPED, *arguments)
    assert asked == [("taper",)], "without a bridge frame there is no bridge"


def test_a_repair_that_nobody_knows_is_named_before_the_merge(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(merge_run, "merge_pair", lambda *_, **__: pytest.fail("merged in vain"))
    kept = {"flag": "soft-midground", "mode": "polish"}
    place = tmp_path / "gate.blendkit.json"
    write_sidecar(place, replace(read_sidecar(tmp_path / "none.json"), repairs=(kept,)))
    arguments = ["merge", WIDE, STOPPED, "-o", tmp_path / "gate.tif"]
    done = CliRunner().invoke(main, [str(argument) for argument in arguments])
    assert done.exit_code == 2
    said = done.stderr.replace("\n", "")
    assert f"{place}: repair mode 'polish' is none of" in said
    assert "correct it or move it away" in said


def test_a_repair_that_finds_nothing_writes_nothing(merged: Path) -> None:
    sidecar_path(merged / "gate.tif").unlink(missing_ok=True)
    before = sorted(merged.iterdir())
    done = CliRunner().invoke(main, ["repair", str(merged / "gate.report.json"), "--json"])
    assert done.exit_code == 0
    assert json.loads(done.stdout)["repairs"] == []
    assert "nothing was written" in done.stderr
    assert sorted(merged.iterdir()) == before


def test_frames_named_the_wrong_way_round_are_doubted(tmp_path: Path) -> None:
    Image.new("L", SIZE).save(tmp_path / "black.png")
    named = ["--background", STOPPED, "--foreground", WIDE, "--aligned", "--preview"]
    named += ["-o", tmp_path / "p.tif", "--matte", tmp_path / "black.png"]
    done = CliRunner().invoke(main, ["merge", *map(str, named)])
    assert "check it, for gate-wide.tif is at f/2.8, the other frame at f/16" in done.stderr
