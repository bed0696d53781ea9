"""Throughput and memory of a batch: one process against two, on pairs of 6 MP.

Run: python tests/bench/batch_load.py [--pairs 4] [--width 3000] [--memory 12GB] [--jobs 1,2]
     python tests/bench/batch_load.py --pairs 1 --jobs 1 --thirds   a bridge and a clear frame each

Libraries use one thread in each process.  The frames are a simulated pair enlarged, with fresh
noise, so that they load the merge as real ones do.  Peak memory is that of all processes together
(proportional set size: shared pages count once), looked at five times a second.  With --thirds the
pair is one of the mid-ground's with a gap, so that its bridge is laid in and not only read.
"""

import argparse
import tempfile
import threading
import time
from dataclasses import replace
from pathlib import Path

import cv2
import numpy as np
import psutil
from midground_cases import make_case

from blendkit.batch.job import merge_job
from blendkit.batch.memory import estimated_bytes, parse_bytes
from blendkit.batch.pairs_file import Pair
from blendkit.batch.run import Order, Report, local_runner, run_batch
from blendkit.files import write_picture
from blendkit.frame import Frame
from blendkit.simulate import demo_scene, demo_spec, make_pair

GAP = 1
"""Number of the mid-ground's case: ground with a gap."""


class Gauge(threading.Thread):
    """Looks at the memory of this process and all its children until told to stop."""

    def __init__(self) -> None:
        super().__init__(daemon=True)
        self.peak_bytes = 0
        self.done = threading.Event()

    def run(self) -> None:
        """Keep the largest sum."""
        me = psutil.Process()
        while not self.done.wait(0.2):
            total = 0
            for process in (me, *me.children(recursive=True)):
                try:
                    total += process.memory_full_info().pss
                except psutil.Error:
                    continue
            self.peak_bytes = max(self.peak_bytes, total)


def write_pairs(
    folder: Path, count: int, size: tuple[int, int], *, thirds: bool
) -> tuple[Pair, ...]:
    """Write pairs of one scene, each with noise of its own, and the third frames asked for."""
    frames = frames_with_thirds() if thirds else frames_of_two()
    pairs = []
    for number in range(count):
        paths = {role: folder / f"{role}{number}.tif" for role in frames}
        for seed, (role, frame) in enumerate(frames.items()):
            write_picture(paths[role], _enlarged(frame, size, 10 * number + seed), like=frame)
        pairs.append(
            Pair(
                f"p{number}",
                paths["background"],
                paths["foreground"],
                bridges=(paths["bridge"],) if thirds else (),
                clear=paths.get("clear"),
            )
        )
    return tuple(pairs)


def frames_of_two() -> dict[str, Frame]:
    """Return the demo's frames by role."""
    small = (900, 600)
    pair = make_pair(demo_scene(small, 1), demo_spec(small, 1))
    return {"background": pair.background, "foreground": pair.foreground}


def frames_with_thirds() -> dict[str, Frame]:
    """Return frames with a gap between them, its bridge, and the background frame as clear frame.

    What a clear frame shows does not change what it costs.
    """
    case = make_case(GAP)
    return {
        "background": case.background,
        "foreground": case.foreground,
        "bridge": case.bridge,
        "clear": case.background,
    }


def _enlarged(frame: Frame, size: tuple[int, int], seed: int) -> np.ndarray:
    large = cv2.resize(frame.pixels, size, interpolation=cv2.INTER_CUBIC)
    noise = np.random.default_rng(seed).normal(0, 0.004, large.shape)
    return np.clip(large + noise, 0, 1).astype(np.float32)


def measured(
    pairs: tuple[Pair, ...], out: Path, jobs: int, memory: int | None
) -> tuple[Report, float, int]:
    """Return the report, seconds and peak bytes of a run."""
    gauge = Gauge()
    gauge.start()
    began = time.perf_counter()
    runner = local_runner(merge_job, jobs=jobs, memory_bytes=memory, threads=1)
    report = run_batch(Order(pairs, out), runner)
    gauge.done.set()
    gauge.join()
    return report, time.perf_counter() - began, gauge.peak_bytes


def main() -> None:
    """Print time and memory of one and of two processes."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--pairs", type=int, default=4)
    parser.add_argument("--width", type=int, default=3000)
    parser.add_argument("--memory")
    parser.add_argument("--jobs", default="1,2", help="numbers of processes, one run each")
    parser.add_argument("--thirds", action="store_true", help="a bridge and a clear frame each")
    given = parser.parse_args()
    size = given.width, given.width * 2 // 3
    limit = parse_bytes(given.memory) if given.memory else None
    times = []
    with tempfile.TemporaryDirectory() as scratch:
        pairs = write_pairs(Path(scratch), given.pairs, size, thirds=given.thirds)
        for jobs in map(int, given.jobs.split(",")):
            own = tuple(replace(pair, name=f"{pair.name}-{jobs}") for pair in pairs)
            report, seconds, peak = measured(own, Path(scratch) / str(jobs), jobs, limit)
            times.append(seconds)
            print(
                f"{jobs} processes, {given.pairs} pairs of {size[0]} x {size[1]} px: "
                f"{seconds:.1f} s, peak {peak / 1e9:.2f} GB, {report.counts}"
            )
    print(f"estimate for one pair {estimated_bytes(size) / 1e9:.2f} GB, limit {given.memory}")
    if len(times) == 2:
        print(f"throughput of the second against the first: {times[0] / times[1]:.2f}")


if __name__ == "__main__":
    main()
