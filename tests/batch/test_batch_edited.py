"""A result that somebody has worked on since is not merged over."""

import os
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from blendkit.batch import job as job_module
from blendkit.batch import ledger
from blendkit.batch.job import merge_job
from blendkit.batch.pairs_file import Pair
from blendkit.batch.records import Job
from blendkit.files import read_frame, write_grey, write_picture
from blendkit.report.edited import edited_since
from blendkit.settings import AlignmentSettings, DiscSettings, MergeSettings
from blendkit.sidecar import read_sidecar, sidecar_path, write_sidecar
from blendkit.simulate import SCENES, PairSpec, make_pair


@pytest.fixture
def merged(tmp_path: Path) -> Job:
    scene = SCENES["thick_boughs"](seed=3, size=(192, 128))
    spec = PairSpec(foreground_disc_px=(9, 1.5), background_disc_px=(6, 1.4), seed=3)
    pair = make_pair(scene, spec)
    paths = tmp_path / "wide.tif", tmp_path / "stopped.tif"
    for path, frame in zip(paths, (pair.background, pair.foreground), strict=True):
        write_picture(path, frame.pixels, like=frame)
    write_grey(tmp_path / "matte.png", pair.truth.matte)
    settings = MergeSettings(alignment=AlignmentSettings(coarse_size_px=96))
    listed = Pair("gate", *paths, matte=tmp_path / "matte.png", settings=settings)
    records = tmp_path / "out" / ".blendkit"
    records.mkdir(parents=True)
    job = Job(listed, tmp_path / "out" / "gate.tif", records, "print")
    assert merge_job(job).status in ("merged", "needs-a-look")
    return job


def later(path: Path, than: Path, by_s: float) -> None:
    then = than.stat().st_mtime + by_s
    os.utime(path, (then, then))


@pytest.mark.parametrize("fingerprint", ["print", "painted since"])
def test_a_retouched_result_stays_and_is_told(merged: Job, fingerprint: str) -> None:
    retouch(merged.output)
    retouched = merged.output.read_bytes()
    outcome = merge_job(replace(merged, fingerprint=fingerprint))
    assert merged.output.read_bytes() == retouched
    assert outcome.status == "needs-a-look"
    assert "was changed by hand since it was merged" in outcome.reason
    assert outcome.reason.endswith("rename or delete it to merge anew")
    merged.output.unlink()
    assert "changed by hand" not in merge_job(replace(merged, fingerprint=fingerprint)).reason
    assert merged.output.read_bytes() != retouched


def retouch(result: Path) -> None:
    frame = read_frame(result)
    frame.pixels[40:60, 40:60] = 0.5  # a spot that was healed
    write_picture(result, frame.pixels, like=frame)
    later(result, result.with_name("gate.report.json"), 60)


@pytest.mark.parametrize("fingerprint", ["print", "painted since"])
def test_copies_for_the_lab_are_made_of_the_retouched_result(merged: Job, fingerprint: str) -> None:
    wanted = replace(merged, deliveries=("full",))
    merge_job(wanted)
    (copy,) = merged.output.parent.glob("gate-*.jpg")
    before = copy.read_bytes()
    retouch(merged.output)
    merge_job(replace(wanted, fingerprint=fingerprint))
    retouched = copy.read_bytes()
    assert retouched != before
    made = copy.stat().st_mtime_ns
    merge_job(replace(wanted, fingerprint=fingerprint))
    assert copy.stat().st_mtime_ns == made, "once is enough"


def test_layers_and_copies_of_an_earlier_result_are_told(merged: Job) -> None:
    merge_job(replace(merged, layers=True, deliveries=("full",), fingerprint="all"))
    out = merged.output.parent
    (copy,) = out.glob("gate-*.jpg")
    left = sorted(["gate.foreground.tif", "gate.matte.tif", "gate.plate.tif", copy.name])
    for name in left:
        later(out / name, merged.output, -60)
    outcome = merge_job(replace(merged, fingerprint="settings of another day"))
    said = "of an earlier result, write anew or delete: " + ", ".join(left)
    assert outcome.reason.endswith(said)
    for name in left:
        (out / name).unlink()
    again = ledger.recall(replace(merged, fingerprint="settings of another day"))
    assert again is not None
    assert "earlier" not in again.reason


def test_a_result_accepted_while_the_next_is_written_is_not_the_next_accepted(
    merged: Job, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = sidecar_path(merged.output)
    really = job_module.write_result

    def meanwhile(*given: Any, **more: Any) -> Any:
        write_sidecar(path, replace(read_sidecar(path), decision="accepted"))
        return really(*given, **more)

    monkeypatch.setattr(job_module, "write_result", meanwhile)
    settings = replace(merged.pair.settings, discs=DiscSettings(disc_px=9.0))
    pair = replace(merged.pair, settings=settings)
    merge_job(replace(merged, pair=pair, fingerprint="other settings"))
    assert read_sidecar(path).decision == "open"


def test_an_accepted_result_is_of_the_pictures_that_lie_there(merged: Job) -> None:
    """A frame may be replaced by one that is older, and copied without becoming another."""
    path, frame = sidecar_path(merged.output), merged.pair.background
    write_sidecar(path, replace(read_sidecar(path), decision="accepted"))
    again = replace(merged, fingerprint="of a later version")
    later(frame, merged.output, 60)
    assert merge_job(again).reason == "accepted in the review", "the same picture, copied"
    other = read_frame(frame)
    write_picture(frame, 0.5 * other.pixels, like=other)
    later(frame, merged.output, -3600)
    assert merge_job(replace(merged, fingerprint="another")).reason != "accepted in the review"
    assert read_sidecar(path).decision == "open"


def test_an_edit_that_keeps_the_size_is_seen_and_a_copy_is_none(merged: Job) -> None:
    report = merged.output.with_name("gate.report.json")
    later(merged.output, report, 60)
    assert not edited_since(merged.output, report), "copied, perhaps, and as it was"
    data = bytearray(merged.output.read_bytes())
    data[len(data) // 2] ^= 1
    merged.output.write_bytes(data)
    later(merged.output, report, 60)
    assert edited_since(merged.output, report)
    later(merged.output, report, -60)
    assert not edited_since(merged.output, report), "what a killed merge had not replaced yet"
