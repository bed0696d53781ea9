"""Real merges in a batch: thirty pairs, six of them broken, and what is lent within a set-up."""

import json
import re
from dataclasses import replace
from pathlib import Path
from urllib.parse import unquote

import numpy as np
import pytest
from PIL import Image

from blendkit.batch.job import _accepted, _keep_sidecar, merge_job
from blendkit.batch.lend import lent_hints
from blendkit.batch.pairs_file import Pair
from blendkit.batch.records import Job
from blendkit.batch.run import Order, Report, local_runner, run_batch
from blendkit.files import read_frame, write_grey, write_picture
from blendkit.hints import Hints
from blendkit.report.inputs import Pair as ReadPair
from blendkit.settings import AlignmentSettings, MergeSettings
from blendkit.sidecar import Sidecar, read_sidecar, sidecar_path, write_sidecar
from blendkit.simulate import SCENES, PairSpec, SimulatedPair, make_pair
from blendkit.simulate.rough_mask import rough_mask

SIZE = (192, 128)
SMALL = MergeSettings(alignment=AlignmentSettings(coarse_size_px=96))
BROKEN = ("truncated", "unrelated", "unreadable", "wrong mask", "gone", "turned")


def simulated(name: str, seed: int, **spec: object) -> SimulatedPair:
    scene = SCENES[name](seed=seed, size=SIZE)
    return make_pair(
        scene,
        PairSpec(foreground_disc_px=(9, 1.5), background_disc_px=(6, 1.4), seed=seed, **spec),  # type: ignore[arg-type]
    )


def written(folder: Path, name: str, pair: SimulatedPair) -> Pair:
    paths = folder / f"{name}-wide.tif", folder / f"{name}-stopped.tif"
    for path, frame in zip(paths, (pair.background, pair.foreground), strict=True):
        write_picture(path, frame.pixels, like=frame)
    matte = folder / f"{name}-matte.png"
    write_grey(matte, pair.truth.matte)
    return Pair(name, *paths, matte=matte, settings=SMALL)


def broken(kind: str, pair: Pair, other: Pair) -> Pair:
    """Spoil a pair's files the given way."""
    if kind == "truncated":
        data = pair.foreground.read_bytes()
        pair.foreground.write_bytes(data[: len(data) // 2])
    elif kind == "unrelated":
        return replace(pair, foreground=other.foreground)
    elif kind == "unreadable":
        pair.background.write_bytes(b"no picture at all")
    elif kind == "wrong mask":
        write_grey(pair.matte or Path(), np.zeros((40, 60), np.float32))
    elif kind == "gone":
        pair.foreground.unlink()
    else:
        frame = read_frame(pair.foreground)
        turned = np.ascontiguousarray(np.rot90(frame.pixels))
        write_picture(pair.foreground, turned, like=frame)
    return pair


@pytest.fixture(scope="module")
def shoot(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Report, dict[str, str]]:
    folder = tmp_path_factory.mktemp("shoot")
    sources = [simulated("thick_boughs", 3), simulated("sitter_beside_twigs", 4)]
    pairs = [written(folder, f"p{k:02d}", sources[k % 2]) for k in range(30)]
    kinds = dict(zip((f"p{k:02d}" for k in (2, 7, 12, 17, 22, 27)), BROKEN, strict=True))
    for k, pair in enumerate(pairs):
        if pair.name in kinds:
            pairs[k] = broken(kinds[pair.name], pair, pairs[(k + 1) % 30])
    report = run_batch(Order(tuple(pairs), folder / "out"), local_runner(merge_job))
    return folder, report, kinds


def test_thirty_pairs_with_six_broken_give_24_results_and_6_reasons(
    shoot: tuple[Path, Report, dict[str, str]],
) -> None:
    _, report, kinds = shoot
    failed = {name for name, outcome in report.outcomes.items() if outcome.status == "failed"}
    assert failed == set(kinds)
    words = {
        "truncated": "again",
        "unrelated": "do not lie on each other",
        "unreadable": "not a",
        "wrong mask": "60 x 40",
        "gone": "No such file",
        "turned": "90 degrees",
    }
    for name, kind in kinds.items():
        reason = report.outcomes[name].reason
        assert words[kind] in reason, (kind, reason)
        assert "\n" not in reason
        assert "fault of blendkit" not in reason
        assert "--tie" not in reason, "an option that batch has not"
        if kind == "unrelated":
            assert "on the page of `blendkit review`" in reason
            assert "[pair.settings.alignment]" in reason
    assert report.counts["failed"] == 6
    assert report.counts["merged"] + report.counts["needs-a-look"] == 24


def test_a_sidecar_names_the_frames_that_its_result_was_made_of(tmp_path: Path) -> None:
    """A list may give a name to other frames, and what was painted stays beside the result."""
    pair = Pair("gate", tmp_path / "a.tif", tmp_path / "b.tif")
    job = Job(pair, tmp_path / "out" / "gate.tif", tmp_path / "out" / ".blendkit", "print")
    job.output.parent.mkdir()
    path = sidecar_path(job.output)
    _keep_sidecar(job, Sidecar(ties=(((1.0, 2.0), (3.0, 4.0)),)))
    assert read_sidecar(path).inputs == {"background": "../a.tif", "foreground": "../b.tif"}
    write_sidecar(path, replace(read_sidecar(path), decision="sent-back"))
    _keep_sidecar(replace(job, pair=replace(pair, foreground=tmp_path / "c.tif")), Sidecar())
    found = read_sidecar(path)
    assert found.inputs["foreground"] == "../c.tif"
    assert (found.decision, len(found.ties)) == ("sent-back", 1)
    before = path.stat()
    _keep_sidecar(replace(job, pair=replace(pair, foreground=tmp_path / "c.tif")), Sidecar())
    assert path.stat() == before, "nothing new is not written"


def test_every_result_is_a_whole_picture_with_report_and_sidecar(
    shoot: tuple[Path, Report, dict[str, str]],
) -> None:
    folder, report, kinds = shoot
    for name, outcome in report.outcomes.items():
        if name in kinds:
            assert not (folder / "out" / f"{name}.tif").exists()
            continue
        with Image.open(folder / "out" / str(outcome.output)) as picture:
            picture.load()
            assert picture.size == SIZE
        document = json.loads((folder / "out" / str(outcome.report)).read_text())
        assert document["schema"] == "blendkit.report/1"
        assert len(document["flags"]) == sum(outcome.flags.values())
        sidecar = json.loads((folder / "out" / f"{name}.blendkit.json").read_text())
        assert (folder / "out" / sidecar["inputs"]["background"]).exists()


def test_the_summary_page_stands_by_itself_and_puts_trouble_first(
    shoot: tuple[Path, Report, dict[str, str]],
) -> None:
    folder, _, kinds = shoot
    page = (folder / "out" / "summary.html").read_text()
    assert page.count("data:image/jpeg;base64,") == 3 * 24
    links = re.findall(r"""\b(?:src|href)=["']?([^"'>\s]*)""", page)
    named = {unquote(link) for link in links if not link.startswith(("data:", "#"))}
    results = {f"p{k:02d}" for k in range(30)} - kinds.keys()
    assert named >= {f"{name}.tif" for name in results}
    assert {name for name in named if Path(name).name != name} == set(), "beside it, nowhere else"
    assert all((folder / "out" / name).is_file() for name in named)
    assert "url(" not in page
    assert "@import" not in page
    first_good = min(page.index(f"<h3>p{k:02d}</h3>") for k in (0, 1))
    assert all(page.index(f"<h3>{name}</h3>") < first_good for name in kinds)


def test_a_sidecar_wins_over_the_settings_of_the_list(tmp_path: Path) -> None:
    pair = written(tmp_path, "a", simulated("thick_boughs", 3))
    out = tmp_path / "out"
    (out / ".blendkit").mkdir(parents=True)
    sidecar = {"schema": "blendkit.sidecar/1", "settings": {"grain": {"seed": 77}}}
    (out / "a.blendkit.json").write_text(json.dumps(sidecar))
    outcome = merge_job(Job(pair, out / "a.tif", out / ".blendkit", "print"))
    assert outcome.status in ("merged", "needs-a-look")
    document = json.loads((out / "a.report.json").read_text())
    assert document["settings"]["grain"]["seed"] == 77
    assert document["settings"]["alignment"]["coarse_size_px"] == 96
    # Accepted on the page, it stays as it is whatever the batch remembers of it.
    made = (out / "a.tif").stat().st_mtime_ns
    kept = json.loads((out / "a.blendkit.json").read_text()) | {"decision": "accepted"}
    (out / "a.blendkit.json").write_text(json.dumps(kept))
    outcome = merge_job(Job(pair, out / "a.tif", out / ".blendkit", "another print"))
    assert (outcome.status, outcome.reason) == ("merged", "accepted in the review")
    assert (out / "a.tif").stat().st_mtime_ns == made
    # The list names another file, older than the report: that is another picture.
    assert _accepted(Job(pair, out / "a.tif", out / ".blendkit", "print")) is not None
    other = replace(pair, clear=pair.foreground)
    assert _accepted(Job(other, out / "a.tif", out / ".blendkit", "print")) is None
    repaired = replace(pair, repair="taper")
    assert _accepted(Job(repaired, out / "a.tif", out / ".blendkit", "print")) is None
    # Merged anew with other settings it is another picture, which nobody has seen.
    kept["settings"] = {"grain": {"seed": 78}}
    (out / "a.blendkit.json").write_text(json.dumps(kept))
    merge_job(Job(pair, out / "a.tif", out / ".blendkit", "a third print"))
    assert json.loads((out / "a.blendkit.json").read_text())["decision"] == "open"
    assert (out / "a.tif").stat().st_mtime_ns != made


def test_what_batch_advises_when_frames_will_not_align_helps(tmp_path: Path) -> None:
    strict = replace(SMALL.alignment, least_confidence=1.0)
    pair = written(tmp_path, "a", simulated("thick_boughs", 3))
    refused = replace(pair, settings=replace(SMALL, alignment=strict))
    out = tmp_path / "out"
    (out / ".blendkit").mkdir(parents=True)

    def status(one: Pair) -> str:
        return merge_job(Job(one, out / "a.tif", out / ".blendkit", "print")).status

    assert status(refused) == "failed"
    ties = [[[30, 30], [30, 30]], [[160, 100], [160, 100]]]  # as the page keeps them
    sidecar = {"schema": "blendkit.sidecar/1", "ties": ties}
    (out / "a.blendkit.json").write_text(json.dumps(sidecar))
    assert status(refused) in ("merged", "needs-a-look")
    (out / "a.blendkit.json").unlink()
    assert status(pair) in ("merged", "needs-a-look"), "with its settings loosened"


def test_what_is_painted_for_one_pose_is_laid_on_another(tmp_path: Path) -> None:
    shift = (3.0, -2.0)
    first = simulated("sitter_beside_twigs", 4)
    later = simulated("sitter_beside_twigs", 4, shift_px=shift)
    lender = written(tmp_path, "lender", first)
    mask = rough_mask(first.truth.matte, reach_px=(2.0, 4.0), tremor_px=0.5)
    write_grey(tmp_path / "mask.png", mask)
    lender = replace(lender, foreground_mask=tmp_path / "mask.png", matte=None)
    pair = ReadPair(later.background, later.foreground)
    hints, notes = lent_hints(lender, None, pair, Hints())
    assert notes == ("uses what was painted for lender",)
    lent = hints.foreground_mask
    assert lent is not None
    core = (later.truth.matte > 0.9) & (later.truth.sitter < 0.01)
    assert lent[core].mean() > 0.8, "the boughs are covered"
    sitter = later.truth.sitter > 0.9
    assert lent[sitter].mean() <= mask[sitter].mean()
