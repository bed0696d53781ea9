"""A sitter who took another pose is neither changed nor doubled, and the background leads."""

from functools import cache

import numpy as np

from blendkit.hints import Hints
from blendkit.merge import Merged, merge_pair
from blendkit.simulate.metrics import grid_rms_px
from blendkit.simulate.pair import SimulatedPair, make_pair
from blendkit.simulate.rough_mask import rough_mask
from blendkit.simulate.scenes import leaves
from blendkit.simulate.spec import PairSpec

_SIZE = (720, 480)
_MOVED_PX = (11.0, 3.0)


@cache
def merged() -> tuple[SimulatedPair, Merged, np.ndarray]:
    spec = PairSpec(
        foreground_disc_px=(48.0, 1.2),
        background_disc_px=(20.0, 2.4),
        sway_px=_MOVED_PX,
        shift_px=(4.0, -2.4),
        seed=31,
    )
    pair = make_pair(leaves(31, _SIZE), spec)
    hints = Hints(foreground_mask=rough_mask(pair.truth.matte, seed=31))
    return pair, merge_pair(pair.background, pair.foreground, hints=hints), hints.painted(_SIZE)


def test_the_frames_meet_on_the_background_not_on_the_sitter_who_moved() -> None:
    pair, result, _ = merged()
    # The true warp follows where the background lies; the sitter is 11 px beside it.
    error_px = grid_rms_px(result.alignment.matrix, pair.truth.warp, _SIZE)
    assert 1e-4 < error_px < min(0.3, result.alignment.uncertainty_px)


def test_she_keeps_the_background_frames_pixels() -> None:
    pair, result, painted = merged()
    hers = (pair.truth.sitter > 0.99) & ~painted
    changed = np.abs(result.pixels - pair.background.pixels).max(axis=2) > 1 / 65535
    assert hers.sum() > 12_800
    assert changed[hers].mean() < 0.02


def test_her_copy_beside_her_is_not_pasted() -> None:
    pair, result, painted = merged()
    beside = (pair.truth.sitter < 0.01) & (pair.truth.matte < 0.01) & ~painted
    assert (result.matte.alpha[beside] > 0.5).mean() < 0.001
