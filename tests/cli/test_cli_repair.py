"""`blendkit repair`: help, and the one line that bad input gets."""

import json
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from blendkit.cli.main import main
from blendkit.cli.repair import read_report
from blendkit.cli.repair_run import _keep_handwork
from blendkit.sidecar import Sidecar, read_sidecar, sidecar_path, write_sidecar


def run(*args: object) -> Result:
    return CliRunner().invoke(main, ["repair", *map(str, args)])


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


def test_a_file_that_the_report_names_must_be_there(tmp_path: Path) -> None:
    report = tmp_path / "gate.report.json"
    document = {
        "schema": "blendkit.report/1",
        "output": {"path": str(tmp_path / "gate.tif"), "bits": 16},
        "inputs": [{"path": str(tmp_path / "gone.tif"), "role": "background"}],
    }
    report.write_text(json.dumps(document))
    done = run(report)
    assert done.exit_code == 2
    assert "gone.tif" in done.output


def test_files_beside_the_report_are_found_from_any_folder(tmp_path: Path) -> None:
    report = tmp_path / "gate.report.json"
    (tmp_path / "wide.tif").touch()
    document = {
        "schema": "blendkit.report/1",
        "output": {"path": "shoot/gate.tif", "bits": 16},
        "inputs": [{"path": "shoot/wide.tif", "role": "background"}],
    }
    report.write_text(json.dumps(document))
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
    document = {
        "schema": "blendkit.report/1",
        "output": {"path": "gate.tif", "bits": 16},
        "inputs": [{"path": "wide.tif", "role": "background"}],
    }
    report = tmp_path / "pose1" / "gate.report.json"
    report.write_text(json.dumps(document))
    monkeypatch.chdir(tmp_path / "pose2")
    found = read_report(Path("../pose1/gate.report.json"))
    assert Path(found["inputs"][0]["path"]).samefile(tmp_path / "pose1" / "wide.tif")


def moved_shoot(folder: Path, *, role: str = "background") -> Path:
    """Return the report of a batch's result, called after its background frame, and moved."""
    results = folder / "now" / "results"
    results.mkdir(parents=True)
    for path in (folder / "now" / "wide.tif", results / "wide.tif"):
        path.write_text(str(path))
    document = {
        "schema": "blendkit.report/1",
        "output": {"path": str(folder / "once" / "results" / "wide.tif"), "bits": 16},
        "inputs": [{"path": str(folder / "once" / "wide.tif"), "role": role}],
    }
    report = results / "wide.report.json"
    report.write_text(json.dumps(document))
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
