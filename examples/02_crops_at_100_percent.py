"""Look at merges where it counts: crops at 100 and 200 % of simulated scenes, beside the truth.

python examples/02_crops_at_100_percent.py OUT
python examples/02_crops_at_100_percent.py OUT 1200x800 all

Each picture shows background frame, foreground frame, result and truth: above at 100 %, where the
veil is thickest; below the middle of that at 200 %.
"""

import sys
from pathlib import Path

import cv2
import numpy as np

from blendkit.hints import Hints
from blendkit.merge import merge_pair
from blendkit.simulate import SCENES, PairSpec, SimulatedPair, make_pair
from blendkit.simulate.drawing.canvas import srgb_from_linear
from blendkit.simulate.rough_mask import rough_mask

CROP_PX = 320


def taken(scene: str, size: tuple[int, int]) -> SimulatedPair:
    """Take a pair of a scene: wide open and stopped down, hand held."""
    spec = PairSpec(
        foreground_disc_px=(80.0, 1.0),
        background_disc_px=(30.0, 4.0),
        shift_px=(9.0, -6.0),
        rotation_deg=0.3,
        falloff_ev=(1.2, 0.1),
        iso=(100.0, 800.0),
        seed=5,
    )
    return make_pair(SCENES[scene](5, size), spec)


def thickest(pair: SimulatedPair, side: int) -> tuple[slice, slice]:
    """Return the window where sharp twigs and their veil are densest, off the rim."""
    busy = cv2.boxFilter(pair.truth.veil_coverage * (pair.truth.matte < 0.5), -1, (side, side))
    half = side // 2
    busy[:half], busy[-half:], busy[:, :half], busy[:, -half:] = -1, -1, -1, -1
    row, column = np.unravel_index(int(np.argmax(busy)), busy.shape)
    return slice(int(row) - half, int(row) + half), slice(int(column) - half, int(column) + half)


def main() -> None:
    """Merge the scenes that were named, or all, and write one picture each."""
    out = Path(sys.argv[1]) if len(sys.argv) > 1 else Path()
    width, height = map(int, (sys.argv[2] if len(sys.argv) > 2 else "480x320").split("x"))
    names = sys.argv[3:] or ["twigs_against_sky"]
    for name in SCENES if names == ["all"] else names:
        pair = taken(name, (width, height))
        mask = rough_mask(pair.truth.matte, seed=5)
        merged = merge_pair(pair.background, pair.foreground, hints=Hints(foreground_mask=mask))
        rows, columns = thickest(pair, min(CROP_PX, height // 4 * 2))
        views = pair.background.pixels, merged.aligned, merged.pixels, pair.truth.composite
        shown = [np.uint8(255 * srgb_from_linear(np.clip(v, 0, 1)))[rows, columns] for v in views]
        quarter = shown[0].shape[0] // 4
        inner = slice(quarter, -quarter)
        large = [
            cv2.resize(v[inner, inner], v.shape[1::-1], interpolation=cv2.INTER_NEAREST)
            for v in shown
        ]
        picture = np.vstack([np.hstack(shown), np.hstack(large)])
        target = out / f"{name}.png"
        cv2.imwrite(str(target), picture[..., ::-1])
        print(f"{target}: background frame, foreground frame, result, truth; 100 and 200 %")


if __name__ == "__main__":
    main()
