"""A batch never replaces what no merge has written."""

import json
from collections.abc import Sequence
from pathlib import Path

import numpy as np
import pytest
from stub_work import content, invented_pairs, work

from blendkit.batch.pool import Local
from blendkit.batch.records import Job
from blendkit.batch.run import Order, Report, Runner, run_batch
from blendkit.errors import InputError
from blendkit.files import write_picture
from blendkit.frame import Frame


def run(folder: Path, *, suffix: str = ".tif", layers: bool = False) -> Report:
    def make(jobs: Sequence[Job]) -> Runner:
        return Local(work, 1, 10**10, {job.name: 10**8 for job in jobs})

    pairs = invented_pairs(folder / "shoot", ["ok"])
    return run_batch(Order(pairs, folder / "out", suffix=suffix, layers=layers), make)


@pytest.mark.parametrize(
    "name",
    ["p00.jpg", "p00.preview.jpg", "p00.report.json", "p00.matte.tif", "summary.html"],
)
def test_a_file_that_no_merge_wrote_stays(tmp_path: Path, name: str) -> None:
    """As the camera's own JPEG, beside the developed frame after which the pair is called."""
    path = tmp_path / "out" / name
    path.parent.mkdir()
    path.write_text("a photograph")
    with pytest.raises(InputError, match="choose another --out or --format") as caught:
        run(tmp_path, suffix=".jpg", layers=True)
    assert str(path) in str(caught.value)
    assert path.read_text() == "a photograph"
    assert list(path.parent.iterdir()) == [path], "nothing was begun"


def test_a_report_of_another_result_does_not_vouch_for_a_photograph(tmp_path: Path) -> None:
    """Merged as TIFF first, and as JPEG then."""
    run(tmp_path)
    path = tmp_path / "out" / "p00.jpg"
    path.write_text("a photograph")
    said = {"schema": "blendkit.report/1", "output": {"path": "p00.tif"}}
    (tmp_path / "out" / "p00.report.json").write_text(json.dumps(said))
    with pytest.raises(InputError, match=r"p00\.jpg: is there already"):
        run(tmp_path, suffix=".jpg")
    assert path.read_text() == "a photograph"


def test_a_result_is_not_merged_anew_as_another_kind_of_file(tmp_path: Path) -> None:
    """It would take the place of its report and sidecar: acceptance and retouching were lost."""
    run(tmp_path)
    said = {"schema": "blendkit.report/1", "output": {"path": "p00.tif"}}
    (tmp_path / "out" / "p00.report.json").write_text(json.dumps(said))
    with pytest.raises(InputError, match=r"p00\.tif: is the result of p00.*--deliver full"):
        run(tmp_path, suffix=".jpg")
    assert not (tmp_path / "out" / "p00.jpg").exists()
    (tmp_path / "out" / "p00.tif").unlink()
    assert run(tmp_path, suffix=".jpg").counts["merged"] == 1


def test_a_marked_picture_beside_a_report_of_another_is_not_replaced(tmp_path: Path) -> None:
    """Retouched in a program that keeps the mark, and merged as JPEG since."""
    run(tmp_path, suffix=".jpg")
    frame = Frame(np.full((4, 6, 3), 0.2, np.float32))
    retouched = tmp_path / "out" / "p00.tif"
    write_picture(retouched, frame.pixels, like=frame, second=frame)
    said = {"schema": "blendkit.report/1", "output": {"path": "p00.jpg"}}
    (tmp_path / "out" / "p00.report.json").write_text(json.dumps(said))
    (tmp_path / "out" / "p00.jpg").unlink()
    before = retouched.read_bytes()
    with pytest.raises(InputError, match=r"p00\.tif: is there already"):
        run(tmp_path)
    assert retouched.read_bytes() == before


def test_an_own_result_is_replaced(tmp_path: Path) -> None:
    """Known by its record; where the records are gone, by its report or by what it carries."""
    run(tmp_path)
    result = tmp_path / "out" / "p00.tif"
    result.write_text("cut short")
    assert run(tmp_path).counts["merged"] == 1
    assert result.read_bytes() == content("p00")
    result.write_text("cut short")
    (tmp_path / "out" / ".blendkit" / "p00.json").unlink()
    said = {"schema": "blendkit.report/1", "output": {"path": "p00.tif"}}
    (tmp_path / "out" / "p00.report.json").write_text(json.dumps(said))
    assert run(tmp_path).counts["merged"] == 1
    assert result.read_bytes() == content("p00")
    for path in (tmp_path / "out").glob("**/p00*.json"):
        path.unlink()
    frame = Frame(np.full((4, 6, 3), 0.2, np.float32))
    write_picture(result, frame.pixels, like=frame, second=frame)
    assert run(tmp_path).counts["merged"] == 1
    write_picture(result, frame.pixels, like=frame)
    (tmp_path / "out" / ".blendkit" / "p00.json").unlink()
    with pytest.raises(InputError, match="is no result"):
        run(tmp_path)
