"""The alignment study: every pair of `alignment_cases`, aligned and held against its truth.

    python tests/bench/alignment_study.py --cache FOLDER --rows rows.jsonl [--compare] [--every 5]

prints one line a group and the figures that the package promises, and writes one JSON line a pair.
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
from alignment_cases import Case, cases
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
    parser.add_argument("--threads", type=int, default=1)
    chosen = parser.parse_args()
    cv2.setNumThreads(chosen.threads)
    chosen.cache.mkdir(parents=True, exist_ok=True)
    rows = []
    with chosen.rows.open("w") as out:
        for row in measured(list(cases())[:: chosen.every], chosen.cache, compare=chosen.compare):
            rows.append(row)
            out.write(json.dumps(row, default=float) + "\n")
            out.flush()
    print_table(rows)


def measured(chosen: list[Case], cache: Path, *, compare: bool) -> Iterator[dict[str, Any]]:
    """Yield one row a pair, and one for every third frame laid on another scene's."""
    other: tuple[Case, Float] | None = None
    for index, case in enumerate(chosen):
        pair = pair_of(case, cache)
        yield row_of(case, pair, pair.foreground.pixels, compare=compare)
        if index % 3 == 0 and other and _unrelated(other[0], case):
            # The figures of all scenes are alike: mirrored, none lies on another by right.
            stranger = np.ascontiguousarray(other[1][:, ::-1])
            yield {**row_of(case, pair, stranger, compare=False), "group": "unrelated"}
        other = case, pair.foreground.pixels


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
