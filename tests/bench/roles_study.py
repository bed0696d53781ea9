"""Which frame is the background frame: 54 simulated focus pairs, and what their pixels say.

    python tests/bench/roles_study.py

Prints the sharper share of each pair (positive = right) and how many roles `decide_roles` would
get right, get wrong, or ask for.  About five minutes on one core.
"""

from collections import Counter

import numpy as np

from blendkit.frame import Frame
from blendkit.roles import LEAST_SHARE, sharper_share
from blendkit.simulate import SCENES, PairSpec, make_pair

CASES = (
    # f-number, focal length in mm, with a sitter, shift in px
    (2.8, 135, True, (5, -3)),
    (2.8, 135, True, (5, -3)),
    (2.0, 85, True, (6, -9)),
    (5.6, 200, True, (-12, 4)),
    (4.0, 135, False, (2, 2)),
    (2.8, 135, False, (-7, 5)),
)


def focus_pair(name: str, seed: int) -> tuple[Frame, Frame]:
    """Return a pair focused on the sitter (or the farthest layer), and on the nearest layer."""
    f_number, focal_length_mm, sitter, shift_px = CASES[seed]
    scene = SCENES[name](seed=seed, size=(720, 480), sitter=sitter)
    near_m = min(layer.distance_m for layer in scene.layers)
    spec = PairSpec(
        f_number=(f_number, f_number),
        focal_length_mm=focal_length_mm,
        focus_distance_m=(scene.anchor.distance_m, near_m),
        shift_px=shift_px,
        scale=1.015,
        iso=(400.0, 100.0),
        seed=seed,
    )
    pair = make_pair(scene, spec)
    return pair.background, pair.foreground


def verdict(share: float) -> str:
    """Return what would become of a pair."""
    if abs(share) < LEAST_SHARE:
        return "asked"
    return "right" if share > 0 else "wrong"


def main() -> None:
    """Print the table."""
    counts: Counter[str] = Counter()
    for name in SCENES:
        shares = np.array([sharper_share(*focus_pair(name, seed)) for seed in range(len(CASES))])
        counts.update(verdict(share) for share in shares)
        print(f"{name:30}", "  ".join(f"{share:+.2f}" for share in shares))
    print(dict(counts))


if __name__ == "__main__":
    main()
