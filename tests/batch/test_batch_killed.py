"""Real merges, killed: after any of the renames that put a result in place, and as a whole run."""

import json
import multiprocessing
import os
import pickle
import random
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from dataclasses import replace
from itertools import count
from pathlib import Path

import cv2
import numpy as np
import pytest
from PIL import Image

from blendkit.batch import job as job_module
from blendkit.batch import ledger
from blendkit.batch.job import merge_job
from blendkit.batch.pairs_file import Pair
from blendkit.batch.records import Job, Outcome
from blendkit.files import write_grey, write_picture
from blendkit.merge import Merged, merge_pair
from blendkit.settings import AlignmentSettings, GrainSettings, MergeSettings
from blendkit.simulate import SCENES, PairSpec, make_pair

SIZE = (180, 120)
SMALL = MergeSettings(alignment=AlignmentSettings(coarse_size_px=96))


def written(folder: Path, name: str, seed: int) -> Pair:
    scene = SCENES["thick_boughs"](seed=seed, size=SIZE)
    spec = PairSpec(foreground_disc_px=(9, 1.5), background_disc_px=(6, 1.4), seed=seed)
    pair = make_pair(scene, spec)
    paths = folder / f"{name}-wide.tif", folder / f"{name}-stopped.tif"
    for path, frame in zip(paths, (pair.background, pair.foreground), strict=True):
        write_picture(path, frame.pixels, like=frame)
    write_grey(folder / f"{name}-matte.png", pair.truth.matte)
    return Pair(name, *paths, matte=folder / f"{name}-matte.png", settings=SMALL)


class Killed:
    """Kills this process right after its nth rename, as the mains would."""

    def __init__(self, nth: int) -> None:
        self.left, self.rename = nth, Path.replace

    def __call__(self, path: Path, target: Path) -> Path:
        """Rename, and die if this was the one."""
        done = self.rename(path, target)
        self.left -= 1
        if self.left == 0:
            os.kill(os.getpid(), signal.SIGKILL)
        return done


def merge_and_die(job: Job, nth: int) -> None:
    killed = Killed(nth)
    Path.replace = lambda *names: killed(*names)  # type: ignore[assignment,method-assign]  # noqa: PLW0108 - a method
    merge_job(job)


@pytest.fixture
def merges(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[tuple[Job, list[Merged]]]:
    """Give a job, and the merges that were made since: the first is kept and given again."""
    pair = written(tmp_path, "a", 3)
    (tmp_path / "out" / ".blendkit").mkdir(parents=True)
    job = Job(pair, tmp_path / "out" / "a.tif", tmp_path / "out" / ".blendkit", "print")
    first: list[Merged] = []
    made: list[Merged] = []

    def merge(*args: object, **options: object) -> Merged:
        if not first:
            first.append(merge_pair(*args, **options))  # type: ignore[arg-type]
        made.append(first[0])
        settings = options["settings"]
        assert isinstance(settings, MergeSettings)
        # Another setting gives another picture, of the same size on disk.
        pixels = first[0].pixels * np.float32(1 - 0.002 * settings.grain.seed)
        return replace(first[0], pixels=pixels)

    monkeypatch.setattr(job_module, "merge_pair", merge)
    threads = cv2.getNumThreads()
    cv2.setNumThreads(1)  # a process that is forked must not inherit threads half-way
    merge_job(replace(job, output=tmp_path / "warm.tif", records=tmp_path))
    made.clear()
    yield job, made
    cv2.setNumThreads(threads)


@pytest.mark.parametrize("deliveries", [(), ("30x20,profile=srgb,fit=crop",)])
def test_a_result_in_its_place_is_never_made_again(
    merges: tuple[Job, list[Merged]], deliveries: tuple[str, ...]
) -> None:
    plain, made = merges
    plain = replace(plain, deliveries=deliveries)
    taken_up = 0
    for nth in count(1):
        settings = replace(SMALL, grain=GrainSettings(seed=nth))  # changed since the last
        pair = replace(plain.pair, settings=settings)
        job = replace(plain, pair=pair, fingerprint=f"print-{nth}")
        process = multiprocessing.get_context("fork").Process(target=merge_and_die, args=(job, nth))
        old = results(job.output.parent)
        process.start()
        process.join(60)
        if process.exitcode == 0:  # there are no more renames
            break
        assert process.exitcode == -signal.SIGKILL
        there = results(job.output.parent) != old
        made.clear()
        outcome = merge_job(job)
        assert outcome.status in ("merged", "needs-a-look")
        assert len(made) == (0 if there else 1), nth
        taken_up += there
        assert_whole(job, outcome, deliveries)
    assert nth > 12, "the kills went through the files"
    assert taken_up >= 2, "the kill between result and record must have been tried"


def assert_whole(job: Job, outcome: Outcome, deliveries: tuple[str, ...]) -> None:
    """Check that result, report and record belong together, and that nothing is half-written."""
    assert ledger.recall(job) == outcome
    out = job.output.parent
    with Image.open(job.output) as picture:
        picture.load()
        assert picture.size == SIZE
    document = json.loads((out / "a.report.json").read_text())
    assert len(document["flags"]) == sum(outcome.flags.values())
    assert len(list(out.glob("a*srgb*"))) == len(deliveries)
    ledger.sweep(out)
    assert not list(out.glob(".*.part.*"))


def test_a_run_of_real_merges_killed_at_random_moments_keeps_every_result(tmp_path: Path) -> None:
    rng = random.Random(8)  # noqa: S311 - moments, not secrets
    pairs = [written(tmp_path, f"p{k}", 3 + k % 2) for k in range(4)]
    (tmp_path / "pairs.pickle").write_bytes(pickle.dumps(tuple(pairs)))
    out, kept = tmp_path / "out", dict[str, tuple[int, int]]()
    for kill in (True, True, False):
        process = subprocess.Popen(
            [sys.executable, "-c", DRIVER, str(tmp_path)], start_new_session=True
        )
        if kill:
            wanted = len(results(out)) + 1
            deadline = time.monotonic() + 120
            while len(results(out)) < min(wanted, 4) and time.monotonic() < deadline:
                time.sleep(0.002)
            time.sleep(rng.choice([0.0, 0.005, 0.05]))
            os.killpg(process.pid, signal.SIGKILL)
            process.wait()
        else:
            assert process.wait(240) == 0
        assert kept.items() <= results(out).items(), "a result was made twice"
        kept = results(out)
    assert len(kept) == 4
    counts = json.loads((out / "summary.json").read_text())["counts"]
    assert counts["merged"] + counts["needs-a-look"] == 4
    assert not list(out.glob(".*.part.*"))


DRIVER = """
import pickle, sys
from pathlib import Path
from blendkit.batch.job import merge_job
from blendkit.batch.run import Order, local_runner, run_batch

folder = Path(sys.argv[1])
pairs = pickle.loads((folder / "pairs.pickle").read_bytes())
run_batch(Order(pairs, folder / "out"), local_runner(merge_job, jobs=2, threads=1))
"""


def results(out: Path) -> dict[str, tuple[int, int]]:
    """Return which file each result is: one that is made again is another file."""
    found = {path.stem: path.stat() for path in out.glob("[ap]*.tif") if len(path.stem) < 3}
    return {name: (state.st_ino, state.st_mtime_ns) for name, state in found.items()}
