"""`blendkit repair`: help, and the one line that bad input gets."""

import json
import os
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from click.testing import CliRunner, Result

from blendkit.cli import repair_run
from blendkit.cli.main import main
from blendkit.cli.repair import damage_in, read_report
from blendkit.cli.repair_run import _check_untouched, _keep_handwork
from blendkit.errors import InputError
from blendkit.files import write_picture
from blendkit.files.checksums import sha256
from blendkit.frame import Frame
from blendkit.masks.strokes import Stroke
from blendkit.sidecar import Sidecar, read_sidecar, sidecar_path, write_sidecar


def run(*args: object) -> Result:
    return CliRunner().invoke(main, ["repair", *map(str, args)])


def described(result: Path | str, background: Path | str) -> dict[str, Any]:
    """Return a report of a merge of a background frame with stopped.tif beside it."""
    foreground = Path(background).with_name("stopped.tif")
    return {
        "schema": "blendkit.report/1",
        "output": {"path": str(result), "bits": 16},
        "inputs": [
            {"path": str(background), "role": "background"},
            {"path": str(foreground), "role": "foreground"},
        ],
        "settings": {},
    }


def test_help_names_every_mode() -> None:
    text = run("--help").output
    assert all(mode in text for mode in ("auto", "bridge", "extend", "taper", "sharpen"))


@pytest.mark.parametrize(
    ("content", "said"),
    [
        (None, "no such file"),
        ("not json", "not a report"),
        ('{"schema": "other/1"}', "schema"),
        (json.dumps({"schema": "blendkit.report/1", "output": None}), "refused"),
    ],
)
def test_a_report_that_cannot_be_used_is_named(
    tmp_path: Path, content: str | None, said: str
) -> None:
    report = tmp_path / "gate.report.json"
    if content is not None:
        report.write_text(content)
    done = run(report)
    assert done.exit_code == 2
    assert said in done.output
    assert str(report) in done.output.replace("\n", "")
    assert list(tmp_path.iterdir()) == ([report] if content is not None else [])


WITHOUT = object()


@pytest.mark.parametrize(
    ("place", "value", "said"),
    [
        (("inputs",), WITHOUT, "does not list the files"),
        (("inputs",), None, "does not list the files"),
        (("inputs", 0), "wide.tif", "does not list the files"),
        (("inputs", 0, "path"), WITHOUT, "input 1 lacks its path"),
        (("inputs", 1, "path"), 7, "input 2 lacks its path"),
        (("inputs", 1, "path"), "a\0b", "input 2 lacks its path"),
        (("inputs", 0, "role"), ["background"], "input 1 lacks"),
        (("inputs", 1, "role"), "background", "2 files as background frame"),
        (("inputs", 1, "role"), "bridge", "0 files as foreground frame"),
        (("output",), "gate.tif", "output.path"),
        (("output", "path"), WITHOUT, "output.path"),
        (("output", "path"), "..", "output.path"),
        (("output", "bits"), WITHOUT, "output.bits"),
        (("output", "bits"), True, "output.bits"),
        (("output", "bits"), 12, "none of 8, 16, 32"),
        (("settings",), WITHOUT, "settings of the merge"),
    ],
)
def test_a_damaged_report_ends_in_one_line_with_the_next_step(
    tmp_path: Path, place: tuple[Any, ...], value: object, said: str
) -> None:
    document = described(tmp_path / "gate.tif", tmp_path / "wide.tif")
    for name in ("wide.tif", "stopped.tif"):
        (tmp_path / name).touch()
    inner: Any = document
    for key in place[:-1]:
        inner = inner[key]
    if value is WITHOUT:
        del inner[place[-1]]
    else:
        inner[place[-1]] = value
    report = tmp_path / "gate.report.json"
    report.write_text(json.dumps(document))
    done = run(report)
    assert done.exit_code == 2, done.exception
    for part in (said, str(report), "merge the pair again"):
        assert part in done.output.replace("\n", "")


@pytest.mark.parametrize("bits", [8, 16, 32])
def test_a_result_of_any_depth_that_is_written_can_be_repaired(tmp_path: Path, bits: int) -> None:
    document = described(tmp_path / "gate.tif", tmp_path / "wide.tif")
    document["output"]["bits"] = bits
    assert not damage_in(document)


def test_a_pair_that_used_anothers_paint_is_not_repaired_without_it(tmp_path: Path) -> None:
    """The report names no files of that paint: merged from it alone, the boughs would be lost."""
    document = described(tmp_path / "gate.tif", tmp_path / "wide.tif")
    document["output"]["asked"] = {"lent_by": "arch"}
    for name in ("wide.tif", "stopped.tif"):
        (tmp_path / name).touch()
    report = tmp_path / "gate.report.json"
    report.write_text(json.dumps(document))
    done = run(report, "--repair", "taper")
    assert done.exit_code == 2, done.exception
    said = " ".join(done.output.split())
    assert "uses what was painted for arch: give it repair = 'taper' in pairs.toml" in said
    assert "run `blendkit batch` again" in said


@pytest.mark.parametrize(
    ("more", "said"),
    [((), "needs a third frame"), (("--bridge", "nowhere.tif"), "nowhere.tif")],
)
def test_a_bridge_that_is_not_there_is_told_before_the_merge(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, more: tuple[str, ...], said: str
) -> None:
    for seed, name in enumerate(("wide.tif", "stopped.tif")):
        pixels = np.random.default_rng(seed).random((40, 60, 3)).astype(np.float32)
        write_picture(tmp_path / name, pixels, like=Frame(pixels))
    report = tmp_path / "gate.report.json"
    report.write_text(json.dumps(described(tmp_path / "gate.tif", tmp_path / "wide.tif")))
    merges: list[object] = []
    monkeypatch.setattr(repair_run, "merge_pair", lambda *given, **_: merges.append(given))
    done = run(report, "--repair", "bridge", *more)
    assert done.exit_code == 2, done.exception
    assert said in done.output
    assert merges == []


def test_a_file_that_the_report_names_must_be_there(tmp_path: Path) -> None:
    report = tmp_path / "gate.report.json"
    report.write_text(json.dumps(described(tmp_path / "gate.tif", tmp_path / "gone.tif")))
    done = run(report)
    assert done.exit_code == 2
    assert "gone.tif" in done.output


def test_files_beside_the_report_are_found_from_any_folder(tmp_path: Path) -> None:
    report = tmp_path / "gate.report.json"
    (tmp_path / "wide.tif").touch()
    report.write_text(json.dumps(described("shoot/gate.tif", "shoot/wide.tif")))
    found = read_report(report)
    assert found["inputs"][0]["path"] == str(tmp_path / "wide.tif")
    assert found["output"]["path"] == "shoot/gate.tif"


def test_frames_of_those_names_in_the_working_folder_are_not_taken(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Two poses may lie in two folders under the same names."""
    for pose in ("pose1", "pose2"):
        (tmp_path / pose).mkdir()
        (tmp_path / pose / "wide.tif").touch()
    report = tmp_path / "pose1" / "gate.report.json"
    report.write_text(json.dumps(described("gate.tif", "wide.tif")))
    monkeypatch.chdir(tmp_path / "pose2")
    found = read_report(Path("../pose1/gate.report.json"))
    assert Path(found["inputs"][0]["path"]).samefile(tmp_path / "pose1" / "wide.tif")


def moved_shoot(folder: Path) -> Path:
    """Return the report of a batch's result, called after its background frame, and moved."""
    results = folder / "now" / "results"
    results.mkdir(parents=True)
    for path in (folder / "now" / "wide.tif", results / "wide.tif"):
        path.write_text(str(path))
    once = folder / "once"
    report = results / "wide.report.json"
    report.write_text(json.dumps(described(once / "results" / "wide.tif", once / "wide.tif")))
    return report


def test_in_a_moved_folder_a_result_is_not_taken_for_its_background_frame(tmp_path: Path) -> None:
    report = moved_shoot(tmp_path)
    assert run(report).exit_code == 2, "nothing says where the frame is"
    assert not list(report.parent.glob("*repaired*"))
    sidecar = sidecar_path(report.parent / "wide.tif")
    write_sidecar(sidecar, Sidecar(inputs={"background": "../wide.tif"}))
    document = read_report(report)
    assert document["output"]["path"] == str(report.parent / "wide.tif")
    assert Path(document["inputs"][0]["path"]).samefile(tmp_path / "now" / "wide.tif")
    # A sidecar that names the result itself says nothing either.
    write_sidecar(sidecar, Sidecar(inputs={"background": "wide.tif"}))
    assert read_report(report)["inputs"][0]["path"] == str(tmp_path / "once" / "wide.tif")
    assert "it is gone; put it back" in run(report).output


def test_a_raw_is_found_beside_the_rendered_file_that_the_sidecar_names(tmp_path: Path) -> None:
    report = moved_shoot(tmp_path)
    (tmp_path / "now" / "wide.dng").touch()
    report.write_text(report.read_text().replace("once/wide.tif", "once/wide.dng"))
    sidecar = sidecar_path(report.parent / "wide.tif")
    write_sidecar(sidecar, Sidecar(inputs={"background": "../wide.tif"}))
    found = Path(read_report(report)["inputs"][0]["path"])
    assert found.samefile(tmp_path / "now" / "wide.dng")


def test_a_result_that_lies_where_its_frame_was_is_named(tmp_path: Path) -> None:
    report = moved_shoot(tmp_path)
    said = report.read_text().replace("once/wide.tif", "now/results/wide.tif")
    report.write_text(said)
    done = run(report)
    assert done.exit_code == 2
    assert "but its result lies there" in done.output


def test_handwork_kept_in_another_folder_names_the_same_files(tmp_path: Path) -> None:
    result, target = tmp_path / "a" / "gate.tif", tmp_path / "b" / "c" / "gate.tif"
    for path in (result, target):
        path.parent.mkdir(parents=True)
    write_sidecar(sidecar_path(result), Sidecar(inputs={"background": "../shoot/wide.tif"}))
    _keep_handwork(result, target, "taper")
    assert read_sidecar(sidecar_path(target)).inputs == {"background": "../../shoot/wide.tif"}


def test_a_second_repair_keeps_what_was_done_to_the_first_ones_result(tmp_path: Path) -> None:
    result, target = tmp_path / "gate.tif", tmp_path / "gate-repaired.tif"
    report = tmp_path / "gate-repaired.report.json"
    stroke = Stroke(((1.0, 1.0), (5.0, 5.0)), 3.0, "foreground")
    source = Sidecar(size=(24, 16), strokes=(stroke,))
    write_sidecar(sidecar_path(result), source)
    _keep_handwork(result, target, "taper")
    _check_untouched(target, report, source)
    repaired = read_sidecar(sidecar_path(target))
    more = Stroke(((2.0, 2.0),), 3.0, "foreground")
    for own in (
        replace(repaired, strokes=(stroke, more)),
        replace(repaired, ties=(((1.0, 1.0), (2.0, 2.0)),)),
        replace(repaired, settings={"discs": {"disc_px": 17.0}}),
        replace(repaired, decision="accepted"),
    ):
        write_sidecar(sidecar_path(target), own)
        with pytest.raises(InputError, match="give -o with another name"):
            _check_untouched(target, report, source)
    write_sidecar(sidecar_path(target), repaired)
    target.write_bytes(b"as it was repaired")
    output = {"path": str(target), "sha256": sha256(target)}
    report.write_text(json.dumps({"output": output}))
    _check_untouched(target, report, source)
    target.write_bytes(b"as it was retouched")
    later = report.stat().st_mtime + 60
    os.utime(target, (later, later))
    with pytest.raises(InputError, match="retouched"):
        _check_untouched(target, report, source)


def test_a_repair_stops_before_the_merge_where_its_result_was_worked_on(tmp_path: Path) -> None:
    frame = Frame(np.full((16, 24, 3), 0.2, np.float32))
    for name in ("wide", "stopped", "gate"):
        write_picture(tmp_path / f"{name}.tif", frame.pixels, like=frame)
    report = tmp_path / "gate.report.json"
    report.write_text(json.dumps(described(tmp_path / "gate.tif", tmp_path / "wide.tif")))
    write_sidecar(tmp_path / "gate-repaired.blendkit.json", Sidecar(decision="accepted"))
    done = run(report)
    assert done.exit_code == 2
    assert "give -o with another name" in done.output
