"""Copies called by a number: another list gives others, and none takes another pair's place."""

from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from stub_work import invented_pairs, work

from blendkit.batch import ledger
from blendkit.batch.after import delivered
from blendkit.batch.job import _finished, _taken_up, merge_job
from blendkit.batch.pool import Local
from blendkit.batch.records import Job, Outcome
from blendkit.batch.run import Order, Runner, run_batch
from blendkit.errors import InputError
from blendkit.files import write_picture
from blendkit.files.checksums import sha256, update_list
from blendkit.files.delivery_plan import check_copies
from blendkit.files.delivery_spec import parse_delivery
from blendkit.frame import Frame

COPY = "full,name=lab-{number}"
FRAME = Frame(np.full((16, 24, 3), 0.2, np.float32))


def job_of(folder: Path, name: str, number: int) -> Job:
    """Return the job of a pair that is merged already, all but its copies."""
    records = folder / ".blendkit"
    records.mkdir(exist_ok=True)
    pair = next(pair for pair in invented_pairs(folder / "shoot", ["ok"] * 3) if pair.name == name)
    job = Job(pair, folder / f"{name}.tif", records, "x", deliveries=(COPY,), number=number)
    write_picture(job.output, FRAME.pixels, like=FRAME, second=FRAME)
    return job


def finish(job: Job) -> None:
    kept = ledger.seal(job, Outcome(job.name, "merged"), {job.output: job.output})
    ledger.remember(job, kept.outcome, [*kept.files, *delivered(job, None)])


@pytest.mark.parametrize(("copy", "times"), [(COPY, 2), ("full,name={stem}-lab", 1)])
def test_another_number_is_another_copy(tmp_path: Path, copy: str, times: int) -> None:
    """A pair at another place in the list is done anew where its copies are called by it."""

    def make(jobs: Sequence[Job]) -> Runner:
        return Local(work, 1, 10**10, {job.name: 10**8 for job in jobs})

    pairs = invented_pairs(tmp_path / "shoot", ["ok", "ok"])
    for listed in (pairs, pairs[1:]):
        run_batch(Order(listed, tmp_path / "out", deliveries=(copy,)), make)
    assert (tmp_path / "out" / "done.log").read_text().split().count("p01") == times


def test_a_copy_does_not_replace_that_of_another_pair(tmp_path: Path) -> None:
    """As when the first pair was taken out of the list, and when two were exchanged."""
    finish(job_of(tmp_path, "p00", 1))
    finish(job_of(tmp_path, "p01", 2))
    first = (tmp_path / "lab-1.jpg").read_bytes()
    for name, number, owner in (("p01", 1, "p00"), ("p00", 2, "p01")):
        with pytest.raises(InputError, match=f"is a file of the pair {owner} and stays; move it"):
            finish(job_of(tmp_path, name, number))
    assert (tmp_path / "lab-1.jpg").read_bytes() == first
    (tmp_path / "lab-1.jpg").rename(tmp_path / "sent.jpg")
    finish(job_of(tmp_path, "p01", 1))
    assert (tmp_path / "lab-1.jpg").exists()
    finish(job_of(tmp_path, "p00", 2))  # the other pair has another copy now


def test_a_copy_replaces_its_own_older_one_and_no_photograph(tmp_path: Path) -> None:
    finish(job_of(tmp_path, "p00", 1))
    finish(job_of(tmp_path, "p00", 1))
    write_picture(tmp_path / "lab-2.jpg", FRAME.pixels, like=FRAME)
    with pytest.raises(InputError, match="is no copy of a result"):
        finish(job_of(tmp_path, "p01", 2))


def test_a_copy_of_an_earlier_version_gives_way_where_the_record_owns_it(tmp_path: Path) -> None:
    """It carries the note of the merge, as a result does, and not what it is a copy of."""
    for name, number in (("p00", 1), ("p01", 2)):
        finish(job_of(tmp_path, name, number))
    for copy in (tmp_path / "lab-1.jpg", tmp_path / "lab-3.jpg"):
        write_picture(copy, FRAME.pixels, like=FRAME, second=FRAME)
        update_list(tmp_path, [(copy.name, sha256(copy))])
    finish(job_of(tmp_path, "p00", 1))
    with pytest.raises(InputError, match="is no copy of a result"):
        finish(job_of(tmp_path, "p01", 3))


def test_copies_that_cannot_be_written_do_not_unmake_the_result(tmp_path: Path) -> None:
    """The record stays sealed, so that the next run delivers and merges nothing."""
    job = job_of(tmp_path, "p00", 1)
    kept = ledger.seal(job, Outcome(job.name, "merged", output="p00.tif"), {job.output: job.output})
    (tmp_path / "checksums.sha256").write_text("# made by somebody\n")
    outcome = _finished(job, kept)
    assert (outcome.status, outcome.output) == ("needs-a-look", "p00.tif")
    assert "is merged, but its copies were not written: " in outcome.reason
    assert "is not a checksum list; move it away" in outcome.reason
    (tmp_path / "checksums.sha256").unlink()
    assert _taken_up(job) == Outcome("p00", "merged", output="p00.tif")
    assert ledger.recall(job) is not None


def test_a_list_that_is_none_is_told_before_any_merge(tmp_path: Path) -> None:
    (tmp_path / "checksums.sha256").write_text("# made by somebody\n")
    with pytest.raises(InputError, match="is not a checksum list; move it away"):
        check_copies(tmp_path / "gate.tif", [parse_delivery(COPY)], (24, 16), {})
    assert check_copies(tmp_path / "gate.tif", [], (24, 16), {}) == {}


def test_copies_asked_for_later_are_written_without_a_merge(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def never(*_: object) -> None:
        raise AssertionError

    wanted = job_of(tmp_path, "p00", 1)
    plain, copy = replace(wanted, deliveries=()), tmp_path / "lab-1.jpg"
    kept = ledger.seal(plain, Outcome("p00", "merged"), {plain.output: plain.output})
    ledger.remember(plain, kept.outcome, kept.files)
    monkeypatch.setattr("blendkit.batch.job._merge", never)
    for _ in range(2):
        assert ledger.recall(wanted) is None
        assert merge_job(wanted).status == "merged"
        assert ledger.recall(wanted) is not None
        assert ledger.recall(plain) is not None, "left off again they stay, and nothing is done"
        copy.unlink()


def test_copies_are_no_part_of_what_a_result_depends_on(tmp_path: Path) -> None:
    seen: list[str] = []

    def make(jobs: Sequence[Job]) -> Runner:
        seen.extend(job.fingerprint for job in jobs)
        return Local(work, 1, 10**10, {job.name: 10**8 for job in jobs})

    pairs = invented_pairs(tmp_path / "shoot", ["ok"])
    for deliveries in ((), ("full",), (COPY,)):
        run_batch(Order(pairs, tmp_path / "out", deliveries=deliveries), make)
    assert len(seen) == 3
    assert len(set(seen)) == 1
