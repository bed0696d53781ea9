"""Pairing on sixty invented shoots with real Exif: precision and recall.

Run: python tests/bench/pairing_study.py [--shoots 60] [--seed 1000 --scenes 500] [--verbose]
With --keep FOLDER the shoots are written there and paired again, not made again, the next time.

A pair counts as right if its background frame should be one and its foreground frame is one of
those that fit it (not the shaken one).  A clear frame that is taken for a pose counts as wrong, and
is told apart in the figures as well.  Takes about ten minutes on one core.
"""

import argparse
import json
import sys
import tempfile
import time
from collections import Counter
from collections.abc import Iterator
from dataclasses import asdict
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1] / "batch"))

from invented_shoots import Expected, Shoot, Spoiling, make_shoot, scenes, spoilings

from blendkit.batch.pairing import find_pairs
from blendkit.simulate import Scene

LEAST_PRECISION, LEAST_RECALL = 0.99, 0.97


def judge(shoot: Shoot, *, verbose: bool) -> Counter[str]:
    """Return how many pairs of a shoot were right, wrong, missed, and clear frames as poses."""
    want = shoot.pairs
    clears = {name for group in shoot.expected for name in group.clears}
    found = {pair.background.name: pair for pair in find_pairs(shoot.folder).pairs}
    tally: Counter[str] = Counter()
    for name, pair in found.items():
        right = pair.foreground.name in want.get(name, ())
        verdict = "right" if right else "clear as pose" if name in clears else "wrong"
        tally[verdict] += 1
        if verbose and not right:
            print(f"  {verdict}: {name} + {pair.foreground.name}: {pair.why}; {want.get(name)}")
    for name, fitting in want.items():
        if name not in found or found[name].foreground.name not in fitting:
            tally["missed"] += 1
            if verbose:
                print(f"  missed: {name}, fitting: {sorted(fitting)}")
    tally["frames"] = shoot.frames
    return tally


def main() -> None:
    """Print the figures by what was spoiled, then for all."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--shoots", type=int, default=60)
    parser.add_argument("--seed", type=int, default=1000)
    parser.add_argument("--scenes", type=int, default=500, help="seed of what grows there")
    parser.add_argument("--keep", type=Path, help="write the shoots here, or take them from here")
    parser.add_argument("--verbose", action="store_true")
    given = parser.parse_args()
    with tempfile.TemporaryDirectory() as scratch:
        root = (given.keep or Path(scratch)) / f"{given.seed}-{given.scenes}"
        stages = scenes(40, seed=given.scenes)
        study(_shoots(root, stages, given.shoots, given.seed), verbose=given.verbose)


def _shoots(
    root: Path, stages: list[Scene], count: int, seed: int
) -> Iterator[tuple[Spoiling, Shoot]]:
    """Yield shoots, going round the spoilings; those that were kept whole are not made again."""
    for k in range(count):
        spoiling = spoilings()[k % len(spoilings())]
        folder = root / f"shoot-{k:02d}"
        truth = folder.with_suffix(".json")
        if truth.exists():
            kept = [Expected(**group) for group in json.loads(truth.read_text())]
            yield spoiling, Shoot(folder, tuple(kept), len(list(folder.iterdir())))
            continue
        shoot = make_shoot(folder, stages, spoiling, seed=seed + k)
        truth.write_text(json.dumps([asdict(group) for group in shoot.expected]))
        yield spoiling, shoot


def study(shoots: Iterator[tuple[Spoiling, Shoot]], *, verbose: bool) -> None:
    """Pair the shoots, print."""
    began = time.perf_counter()
    by_spoiling: dict[str, Counter[str]] = {}
    for spoiling, shoot in shoots:
        if verbose:
            print(f"{shoot.folder.name}: {spoiling.name}")
        by_spoiling.setdefault(_name(spoiling), Counter()).update(judge(shoot, verbose=verbose))
    for name, tally in by_spoiling.items():
        print(f"{name:28} {_figures(tally)}")
    total = sum(by_spoiling.values(), Counter())
    print(f"{'all':28} {_figures(total)}")
    print(f"{total['frames']} frames, {time.perf_counter() - began:.0f} s")
    print(f"asked for: precision {LEAST_PRECISION}, recall {LEAST_RECALL}")


def _name(spoiling: Spoiling) -> str:
    return spoiling.name


def _figures(tally: Counter[str]) -> str:
    right, wrong, missed = tally["right"], tally["wrong"], tally["missed"]
    clear = tally["clear as pose"]
    precision = right / max(1, right + wrong + clear)
    without = right / max(1, right + wrong)
    recall = right / max(1, right + missed)
    return (
        f"right {right:4} wrong {wrong:3} clear as pose {clear:3} missed {missed:3}  "
        f"precision {precision:.3f} (without clear frames {without:.3f})  recall {recall:.3f}"
    )


if __name__ == "__main__":
    main()
