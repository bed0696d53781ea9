"""The alignment study: every pair of `alignment_cases`, aligned and held against its truth.

    python tests/bench/alignment_study.py --cache FOLDER --rows rows.jsonl [--compare] [--every 5]

prints one line a group and the figures that the package promises, and writes one JSON line a pair.
`--held-out SEED` takes pairs on which nothing was calibrated instead, `--nobody` pairs without a
sitter; `--resume` goes on.
Single-threaded it takes about a second a pair, and two more to make each pair the first time.
"""

import argparse
import json
import time
from collections.abc import Iterator
from dataclasses import asdict
from pathlib import Path
from typing import Any

import cv2
import numpy as np
from alignment_cases import Case, cases, held_out, nobody
from alignment_pairs import StudyPair, pair_of
from alignment_rivals import rivals
from alignment_table import print_table

from blendkit.alignment.estimate import align
from blendkit.errors import BlendkitError
from blendkit.frame import Float
from blendkit.settings import AlignmentSettings
from blendkit.simulate.metrics import grid_rms_px

NEVER_REFUSE = AlignmentSettings(least_confidence=0.0)


def main() -> None:
    """Run the study and print its table."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--cache", type=Path, required=True, help="folder that keeps the pairs")
    parser.add_argument("--rows", type=Path, required=True, help="where one JSON line a pair goes")
    parser.add_argument("--compare", action="store_true", help="run other methods too")
    parser.add_argument("--every", type=int, default=1, help="take every n-th pair only")
    parser.add_argument("--held-out", type=int, metavar="SEED", help="pairs of new scenes instead")
    parser.add_argument("--nobody", action="store_true", help="pairs without a sitter instead")
    parser.add_argument("--count", type=int, default=120, help="how many of those")
    parser.add_argument("--resume", action="store_true", help="keep the rows that are there")
    parser.add_argument("--threads", type=int, default=1)
    chosen = parser.parse_args()
    cv2.setNumThreads(chosen.threads)
    chosen.cache.mkdir(parents=True, exist_ok=True)
    wanted = list(_wanted(chosen))[:: chosen.every]
    rows = _rows_so_far(chosen.rows) if chosen.resume else []
    with chosen.rows.open("w") as out:
        for row in measured(wanted, chosen.cache, rows, compare=chosen.compare):
            out.write(json.dumps(row, default=float) + "\n")
            out.flush()
    print_table(_rows_so_far(chosen.rows))


def _wanted(chosen: argparse.Namespace) -> Iterator[Case]:
    if chosen.nobody:
        return nobody(chosen.count)
    return cases() if chosen.held_out is None else held_out(chosen.count, chosen.held_out)


def _rows_so_far(path: Path) -> list[dict[str, Any]]:
    lines = path.read_text().splitlines() if path.exists() else []
    return [json.loads(line) for line in lines]


def measured(
    chosen: list[Case], cache: Path, done: list[dict[str, Any]], *, compare: bool
) -> Iterator[dict[str, Any]]:
    """Yield one row a pair, and one for every third frame laid on another scene's.

    done: rows of an earlier run in the same order; they are yielded as they are.
    """
    ready = iter(done)
    other: Case | None = None
    for index, case in enumerate(chosen):
        yield next(ready, None) or _own_row(case, cache, compare=compare)
        if index % 3 == 0 and other and _unrelated(other, case):
            # The figures of all scenes are alike: mirrored, none lies on another by right.
            yield next(ready, None) or _stranger_row(case, other, cache)
        other = case


def _own_row(case: Case, cache: Path, *, compare: bool) -> dict[str, Any]:
    pair = pair_of(case, cache)
    return row_of(case, pair, pair.foreground.pixels, compare=compare)


def _stranger_row(case: Case, other: Case, cache: Path) -> dict[str, Any]:
    stranger = np.ascontiguousarray(pair_of(other, cache).foreground.pixels[:, ::-1])
    row = row_of(case, pair_of(case, cache), stranger, compare=False)
    return {**row, "group": "unrelated"}


def _unrelated(one: Case, other: Case) -> bool:
    return one.scene != other.scene and one.size == other.size


def row_of(case: Case, pair: StudyPair, foreground: Float, *, compare: bool) -> dict[str, Any]:
    """Align one pair without ever refusing; return the figures."""
    row: dict[str, Any] = {**asdict(case), "error_px": None, "confidence": 0.0, "why": ""}
    before = time.perf_counter()
    try:
        found = align(pair.background.pixels, foreground, NEVER_REFUSE)
    except BlendkitError as error:
        return {**row, "why": str(error)}
    row["time_s"] = time.perf_counter() - before
    size = pair.background.size
    row |= {
        "error_px": grid_rms_px(found.matrix, pair.zone, size),
        "confidence": found.confidence,
        "uncertainty_px": found.uncertainty_px,
        "model": found.model,
        "relative_disc_px": found.relative_disc_px,
        "evidence": asdict(found.evidence) if found.evidence else {},
        "behind_px": pair.behind_px,
        "behind": asdict(found.behind) if found.behind else None,
        "told_apart": found.sway_px is not None,
    }
    if compare:
        light = pair.background.pixels, foreground
        row["rivals"] = {
            name: grid_rms_px(np.asarray(warp), pair.zone, size)
            for name, warp in rivals(*light).items()
        }
    return row


if __name__ == "__main__":
    main()
