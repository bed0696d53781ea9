"""The queue: failures and killed processes stay with their pair, and a killed run goes on."""

import json
import os
import random
import shutil
import signal
import subprocess
import sys
import time
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Any

import psutil
import pytest
from stub_work import SIZE, content, invented_pairs, work

from blendkit.batch import ledger
from blendkit.batch import run as run_module
from blendkit.batch.pairs_file import Pair
from blendkit.batch.pool import Local
from blendkit.batch.records import Job, Outcome
from blendkit.batch.run import Order, Report, Runner, run_batch
from blendkit.errors import OutputError
from blendkit.files import atomic
from blendkit.sidecar import Sidecar, write_sidecar

HERE = Path(__file__).parent


def local(processes: int = 2, limit: int = 10**10, need: int = 10**8) -> object:
    def make(jobs: Sequence[Job]) -> Runner:
        return Local(work, processes, limit, {job.name: need for job in jobs})

    return make


def run(folder: Path, verbs: list[str], **more: int) -> Report:
    pairs = invented_pairs(folder / "shoot", verbs)
    return run_batch(Order(pairs, folder / "out"), local(**more))


def test_a_failing_pair_and_a_killed_process_fail_alone(tmp_path: Path) -> None:
    report = run(tmp_path, ["ok", "error", "ok", "die", "ok", "ok"])
    states = {name: outcome.status for name, outcome in report.outcomes.items()}
    assert [states[f"p{k:02d}"] for k in range(6)] == [
        "merged", "failed", "merged", "failed", "merged", "merged",
    ]  # fmt: skip
    assert "told to fail" in report.outcomes["p01"].reason
    assert "ended from outside" in report.outcomes["p03"].reason
    document = json.loads((tmp_path / "out" / "summary.json").read_text())
    assert document["schema"] == "blendkit.batch/1"
    assert document["counts"] == {"failed": 2, "needs-a-look": 0, "merged": 4, "left-out": 0}


def test_a_second_run_redoes_only_what_failed(tmp_path: Path) -> None:
    first = run(tmp_path, ["ok", "once", "ok"])
    assert first.counts["failed"] == 1
    second = run(tmp_path, ["ok", "once", "ok"])
    assert second.counts["merged"] == 3
    assert (tmp_path / "out" / "done.log").read_text().split().count("p00") == 1
    assert (tmp_path / "out" / "begun.log").read_text().split().count("p01") == 2


@pytest.mark.parametrize("change", ["input", "result cut short", "result gone", "settings"])
def test_what_changed_is_merged_anew(tmp_path: Path, change: str) -> None:
    from dataclasses import replace  # noqa: PLC0415

    from blendkit.settings import MatteSettings, MergeSettings  # noqa: PLC0415

    run(tmp_path, ["ok", "ok"])
    pairs = list(invented_pairs(tmp_path / "shoot", ["ok", "ok"]))
    result = tmp_path / "out" / "p00.tif"
    if change == "input":
        pairs[0].foreground.write_text("another\n")
    elif change == "result cut short":
        result.write_bytes(result.read_bytes()[:1000])
    elif change == "result gone":
        result.unlink()
    else:
        pairs[0] = replace(pairs[0], settings=MergeSettings(matte=MatteSettings(hold=0.9)))
    run_batch(Order(tuple(pairs), tmp_path / "out"), local())
    done = (tmp_path / "out" / "done.log").read_text().split()
    assert (done.count("p00"), done.count("p01")) == (2, 1)
    assert result.read_bytes() == content("p00")


@pytest.mark.parametrize("earlier", [False, True])
def test_a_result_is_known_however_its_folder_is_called(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, *, earlier: bool
) -> None:
    """Records of an earlier version name files as --out was typed."""
    pairs = invented_pairs(tmp_path / "shoot", ["ok"])
    monkeypatch.chdir(tmp_path)
    run_batch(Order(pairs, Path("out")), local())
    if earlier:
        record = tmp_path / "out" / ".blendkit" / "p00.json"
        record.write_text(record.read_text().replace('"p00.tif": ', '"out/p00.tif": '))
        assert "out/p00.tif" in record.read_text()
    (tmp_path / "elsewhere").mkdir()
    monkeypatch.chdir(tmp_path / "elsewhere")
    for spelled in (tmp_path / "out", Path("../out")):
        assert run_batch(Order(pairs, spelled), local()).counts["merged"] == 1
    moved = (tmp_path / "out").rename(tmp_path / "moved")
    assert run_batch(Order(pairs, moved), local()).counts["merged"] == 1
    assert (moved / "begun.log").read_text().split() == ["p00"]
    shutil.copytree(moved, tmp_path / "copied")
    (tmp_path / "copied" / "p00.tif").unlink()
    run_batch(Order(pairs, tmp_path / "copied"), local())
    assert (tmp_path / "copied" / "p00.tif").exists(), "the other folder's is not its own"


def test_a_pair_that_needs_too_much_memory_is_failed_with_the_figures(tmp_path: Path) -> None:
    report = run(tmp_path, ["ok", "ok"], limit=10**9, need=2 * 10**9)
    reason = report.outcomes["p00"].reason
    assert "2.4 GB" in reason
    assert "1.0 GB" in reason
    assert "--memory" in reason


def test_skipped_pairs_are_left_out(tmp_path: Path) -> None:
    from dataclasses import replace  # noqa: PLC0415

    pairs = invented_pairs(tmp_path / "shoot", ["ok", "ok", "ok"])
    (tmp_path / "out").mkdir()
    sidecar = {"schema": "blendkit.sidecar/1", "decision": "skipped"}
    (tmp_path / "out" / "p02.blendkit.json").write_text(json.dumps(sidecar))
    order = Order((replace(pairs[0], skip=True), *pairs[1:]), tmp_path / "out")
    assert run_batch(order, local()).counts == {
        "failed": 0, "needs-a-look": 0, "merged": 1, "left-out": 2,
    }  # fmt: skip


def test_what_was_decided_since_is_told_the_next_time(tmp_path: Path) -> None:
    pairs = invented_pairs(tmp_path / "shoot", ["ok", "ok"])
    run_batch(Order(pairs, tmp_path / "out"), local())
    for name, decision in (("p00", "accepted"), ("p01", "sent-back")):
        sidecar = {"schema": "blendkit.sidecar/1", "decision": decision}
        (tmp_path / "out" / f"{name}.blendkit.json").write_text(json.dumps(sidecar))
    outcomes = run_batch(Order(pairs, tmp_path / "out"), local()).outcomes
    assert (outcomes["p00"].status, outcomes["p01"].status) == ("merged", "needs-a-look")
    assert "accepted" in outcomes["p00"].reason
    assert "sent back" in outcomes["p01"].reason
    assert (tmp_path / "out" / "begun.log").read_text().split() in (["p00", "p01"], ["p01", "p00"])


def test_another_kind_of_file_is_another_result(tmp_path: Path) -> None:
    pairs = invented_pairs(tmp_path / "shoot", ["ok"])
    run_batch(Order(pairs, tmp_path / "out"), local())
    run_batch(Order(pairs, tmp_path / "out", suffix=".png"), local())
    assert (tmp_path / "out" / "p00.png").exists()


def test_a_failure_stays_told_while_other_pairs_are_merged_alone(tmp_path: Path) -> None:
    out = tmp_path / "out"
    pairs = invented_pairs(tmp_path / "shoot", ["ok", "error"])
    before = run_batch(Order(pairs, out), local()).outcomes["p01"]
    run_batch(Order(pairs, out, only=("p00",)), local())
    summary = json.loads((out / "summary.json").read_text())
    assert summary["counts"]["failed"] == 1
    assert summary["pairs"][1] == before.document()
    later = (out / "summary.json").stat().st_mtime + 60
    (out / "p01.report.json").write_text("{}")  # as the page's merge, since
    os.utime(out / "p01.report.json", (later, later))
    run_batch(Order(pairs, out, only=("p00",)), local())
    assert json.loads((out / "summary.json").read_text())["counts"]["failed"] == 0


def test_a_pair_merged_alone_keeps_its_number_and_leaves_the_others(tmp_path: Path) -> None:
    pairs = invented_pairs(tmp_path / "shoot", ["ok", "ok", "ok"])
    seen: list[tuple[str, int]] = []

    class Listed(Local):
        def run(self, jobs: Sequence[Job]) -> Iterator[Outcome]:
            seen.extend((job.name, job.number) for job in jobs)
            return Local.run(self, jobs)

    def make(jobs: Sequence[Job]) -> Runner:
        return Listed(work, 1, 10**10, {job.name: 10**8 for job in jobs})

    report = run_batch(Order(pairs, tmp_path / "out", only=("p02",)), make)
    assert seen == [("p02", 3)]
    assert list(report.outcomes) == ["p02"]
    whole = run_batch(Order(pairs, tmp_path / "out"), local())
    write_sidecar(tmp_path / "out" / "p01.blendkit.json", Sidecar(decision="skipped"))
    write_sidecar(tmp_path / "out" / "p00.blendkit.json", Sidecar(decision="accepted"))
    run_batch(Order(pairs, tmp_path / "out", only=("p02",)), make)
    summary = json.loads((tmp_path / "out" / "summary.json").read_text())["pairs"]
    assert whole.counts["merged"] == 3
    assert [one["status"] for one in summary] == ["merged", "left-out", "merged"]
    assert summary[0]["reason"] == "accepted in the review"


def test_a_process_that_dies_while_idle_costs_no_pair(tmp_path: Path) -> None:
    """Two pairs one after the other in one process, which is killed in between."""
    before = {child.pid for child in psutil.Process().children(recursive=True)}
    outcomes, killed = [], 0
    pairs = invented_pairs(tmp_path / "shoot", ["ok", "ok"])
    records = tmp_path / "out" / ".blendkit"
    records.mkdir(parents=True)
    jobs = [Job(p, tmp_path / "out" / f"{p.name}.tif", records, "x") for p in pairs]
    for outcome in Local(work, 1, 10**10, {job.name: 10**8 for job in jobs}).run(jobs):
        outcomes.append(outcome.status)
        for child in psutil.Process().children(recursive=True):
            if child.pid not in before and "spawn_main" in " ".join(child.cmdline()):
                child.kill()
                child.wait()
                killed += 1
        time.sleep(0.3)  # until the pool has noticed
    assert outcomes == ["merged", "merged"]
    assert killed >= 1


def test_what_others_write_is_not_swept(tmp_path: Path) -> None:
    """Neither another process of ours nor another program; what a dead one left is."""
    (tmp_path / ".notes.part.zip").touch()
    with atomic(tmp_path / "b.tif") as unfinished:
        gone = subprocess.Popen([sys.executable, "-c", ""])
        gone.wait()
        (tmp_path / f".c.{gone.pid}.abc.part.tif").touch()
        ledger.sweep(tmp_path)
        assert unfinished.exists()
    assert sorted(path.name for path in tmp_path.iterdir()) == [".notes.part.zip", "b.tif"]


def test_two_runs_do_not_work_in_one_folder(tmp_path: Path) -> None:
    with ledger.opened(tmp_path), pytest.raises(OutputError, match="another batch"):
        run_batch(Order(invented_pairs(tmp_path / "shoot", ["ok"]), tmp_path), local())


DRIVER = """
import signal
import sys
from pathlib import Path
from stub_work import invented_pairs, work
from blendkit.batch.pool import Local
from blendkit.batch.run import Order, run_batch

def main():
    # What a shell starts in the background ignores Ctrl-C, tests among it: undo that.
    signal.signal(signal.SIGINT, signal.default_int_handler)
    folder, count = Path(sys.argv[1]), int(sys.argv[2])
    pairs = invented_pairs(folder / "shoot", ["ok"] * count, took_ms=60)
    make = lambda jobs: Local(work, 2, 10**10, {job.name: 1 for job in jobs})
    report = run_batch(Order(pairs, folder / "out"), make)
    sys.exit(130 if report.interrupted else 0)

if __name__ == "__main__":
    main()
"""


def start(folder: Path, count: int) -> subprocess.Popen[bytes]:
    script = folder / "driver.py"
    script.write_text(DRIVER)
    env = os.environ | {"PYTHONPATH": str(HERE)}
    return subprocess.Popen(
        [sys.executable, str(script), str(folder), str(count)], env=env, start_new_session=True
    )


def names(folder: Path, log: str) -> list[str]:
    path = folder / "out" / log
    return path.read_text().split() if path.exists() else []


def assert_whole(out: Path) -> None:
    """Every result that has its final name is complete."""
    for path in out.glob("p*.tif"):
        assert path.read_bytes() == content(path.stem)


def test_a_run_killed_at_random_moments_loses_nothing_and_repeats_nothing(tmp_path: Path) -> None:
    """Twenty moments where BLENDKIT_SLOW is set, six in the ordinary run."""
    count, kills = 200, 20 if "BLENDKIT_SLOW" in os.environ else 6
    rng = random.Random(4)  # noqa: S311 - moments, not secrets
    results: dict[str, tuple[int, int]] = {}
    for _ in range(kills):
        begun = len(names(tmp_path, "begun.log"))
        process = start(tmp_path, count)
        deadline = time.monotonic() + 60
        while len(names(tmp_path, "begun.log")) == begun and time.monotonic() < deadline:
            time.sleep(0.01)
        time.sleep(rng.uniform(0, 0.25))
        os.killpg(process.pid, signal.SIGKILL)
        process.wait()
        assert_whole(tmp_path / "out")
        again = names(tmp_path, "begun.log")[begun:]
        assert not results.keys() & set(again), "a pair that had its result was begun anew"
        assert results.items() <= files_of(tmp_path / "out").items()
        results = files_of(tmp_path / "out")
    assert 0 < len(results) < count, "the kills should have come in the middle"
    assert start(tmp_path, count).wait(120) == 0
    assert results.items() <= files_of(tmp_path / "out").items()
    assert set(files_of(tmp_path / "out")) == {f"p{k:02d}" for k in range(count)}
    done = names(tmp_path, "done.log")
    assert len(done) == len(set(done)), "a pair was done twice"
    assert_whole(tmp_path / "out")
    assert not list((tmp_path / "out").glob(".*.part.*")), "temporary files are swept"


def files_of(out: Path) -> dict[str, tuple[int, int]]:
    """Return which file each result is: a pair that is done again gets another."""
    found = {path.stem: path.stat() for path in out.glob("p*.tif")}
    return {name: (state.st_ino, state.st_mtime_ns) for name, state in found.items()}


def test_ctrl_c_ends_cleanly_and_tells_what_was_not_reached(tmp_path: Path) -> None:
    process = start(tmp_path, 100)
    deadline = time.monotonic() + 60
    while len(names(tmp_path, "done.log")) < 3 and time.monotonic() < deadline:
        time.sleep(0.02)
    os.killpg(process.pid, signal.SIGINT)
    assert process.wait(30) == 130
    document = json.loads((tmp_path / "out" / "summary.json").read_text())
    assert document["interrupted"] is True
    assert document["counts"]["merged"] >= 2  # of the third the record may not be done
    assert document["counts"]["left-out"] > 50
    assert not list((tmp_path / "out").glob(".*.part.*"))
    assert_whole(tmp_path / "out")


def test_ctrl_c_while_checksums_are_worked_out_is_told_too(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    pairs = invented_pairs(tmp_path / "shoot", ["ok", "ok", "ok"])
    run_batch(Order(pairs, tmp_path / "out", only=("p00", "p02")), local())
    known = run_module.fingerprint

    def broken_off(pair: Pair, *more: Any, **extra: Any) -> str:
        if pair.name == "p02":
            raise KeyboardInterrupt
        return known(pair, *more, **extra)

    monkeypatch.setattr(run_module, "fingerprint", broken_off)
    report = run_batch(Order(pairs, tmp_path / "out"), local())
    assert report.interrupted
    document = json.loads((tmp_path / "out" / "summary.json").read_text())
    assert document["interrupted"] is True
    assert [one["status"] for one in document["pairs"]] == ["merged", "left-out", "merged"]
    assert "run again" in document["pairs"][1]["reason"]
    assert sorted((tmp_path / "out" / "begun.log").read_text().split()) == ["p00", "p02"]


def test_processes_end_with_a_parent_that_was_killed(tmp_path: Path) -> None:
    process = start(tmp_path, 100)
    deadline = time.monotonic() + 60
    while len(names(tmp_path, "done.log")) < 2 and time.monotonic() < deadline:
        time.sleep(0.02)
    process.kill()
    process.wait()
    time.sleep(1.0)
    settled = len(names(tmp_path, "begun.log"))
    time.sleep(0.5)
    assert len(names(tmp_path, "begun.log")) == settled < 100


def test_content_has_the_size_that_is_checked() -> None:
    assert len(content("p00")) == SIZE
