"""Too little memory within a process of the batch: that pair fails with a sentence, alone."""

import sys
import time
from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import hungry_work
import numpy as np
import pytest

from blendkit.batch.memory import Budget
from blendkit.batch.pairs_file import Pair
from blendkit.batch.pool import Local
from blendkit.batch.records import Job, Work
from blendkit.batch.run import Order, Report, Runner, run_batch
from blendkit.errors import NO_MEMORY
from blendkit.files import write_grey, write_picture
from blendkit.settings import AlignmentSettings, MergeSettings
from blendkit.simulate import SCENES, PairSpec, make_pair

SMALL = MergeSettings(alignment=AlignmentSettings(coarse_size_px=96))


def run(work: Work, pairs: tuple[Pair, ...], out: Path) -> Report:
    def make(jobs: Sequence[Job]) -> Runner:
        return Local(work, 1, 10**10, {job.name: 1 for job in jobs}, threads=1)

    return run_batch(Order(pairs, out), make)


@pytest.mark.skipif(sys.platform != "linux", reason="RLIMIT_AS binds on Linux only")
def test_a_pair_without_enough_memory_fails_with_a_sentence_and_the_others_go_on(
    tmp_path: Path,
) -> None:
    spec = PairSpec(foreground_disc_px=(9, 1.5), background_disc_px=(6, 1.4), seed=3)
    made = make_pair(SCENES["thick_boughs"](seed=3, size=(180, 120)), spec)
    small = tmp_path / "w.tif", tmp_path / "s.tif"
    for path, frame in zip(small, (made.background, made.foreground), strict=True):
        write_picture(path, frame.pixels, like=frame)
    write_grey(tmp_path / "m.png", made.truth.matte)
    large = tmp_path / "lw.tif", tmp_path / "ls.tif"  # 24 MB of floats each: beyond the room
    for path, frame in zip(large, (made.background, made.foreground), strict=True):
        write_picture(path, np.tile(frame.pixels, (9, 11, 1)), like=frame)
    ready = Pair("a", *small, matte=tmp_path / "m.png", settings=SMALL)
    pairs = (ready, Pair("hungry", *large), Pair("z", *small, matte=ready.matte, settings=SMALL))
    report = run(hungry_work.work, pairs, tmp_path / "out")
    assert report.outcomes["hungry"].status == "failed"
    assert report.outcomes["hungry"].reason == NO_MEMORY
    assert not (tmp_path / "out" / "hungry.tif").exists()
    assert not list((tmp_path / "out").glob(".*.part.*"))
    for name in ("a", "z"):
        assert report.outcomes[name].status in ("merged", "needs-a-look")
        assert (tmp_path / "out" / f"{name}.tif").exists()


def test_memory_that_fails_outside_the_merge_is_told_as_such(tmp_path: Path) -> None:
    for name in ("a.tif", "b.tif"):
        (tmp_path / name).write_text(name)
    frames = tmp_path / "a.tif", tmp_path / "b.tif"
    pairs = (Pair("hungry", *frames), Pair("z", *frames))
    report = run(hungry_work.starving, pairs, tmp_path / "out")
    assert report.outcomes["hungry"].reason == NO_MEMORY
    assert report.outcomes["z"].status == "merged"


def test_frames_that_are_decoded_whole_wait_for_memory() -> None:
    budget, at_work, most = Budget(10), [0], [0]

    def decode(need: int) -> None:
        with budget.of(need):
            at_work[0] += need
            most[0] = max(most[0], at_work[0])
            time.sleep(0.005)
            at_work[0] -= need

    with ThreadPoolExecutor(8) as pool:
        list(pool.map(decode, [4] * 16))
    assert 4 <= most[0] <= 8
    decode(100)  # more than there is: alone, and not for ever waiting
