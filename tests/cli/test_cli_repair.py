"""`blendkit repair`: help, and the one line that bad input gets."""

import json
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from blendkit.cli.main import main
from blendkit.cli.repair import read_report


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
