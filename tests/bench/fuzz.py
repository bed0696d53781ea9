"""Damage sound files at random and read them, at length.

    python tests/bench/fuzz.py --count 20000 --seed 2

Prints what became of each kind, the slowest reading and the most memory as a share of what is
allowed (tests/fuzz/damaged.py).  Stops at the first reader that raises what is not the package's
own error, hangs, takes too much memory or writes a file.
"""

import argparse
import sys
import tempfile
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1] / "fuzz"))

from damaged import kinds, survive


def main() -> None:
    """Run and print."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--count", type=int, default=20_000)
    parser.add_argument("--seed", type=int, default=2)
    given = parser.parse_args()
    folder = Path(tempfile.mkdtemp(prefix="fuzz-"))
    all_kinds = kinds(folder)
    tally = survive(all_kinds, given.count, given.seed, folder)
    for kind in all_kinds:
        read, refused = (tally.outcomes[kind.name, what] for what in ("read", "refused"))
        print(f"{kind.name:9} {read:6} read {refused:6} refused")
    print(f"slowest {tally.slowest_s:.2f} s, most memory {tally.most_of_allowed:.0%} of the bound")


if __name__ == "__main__":
    main()
