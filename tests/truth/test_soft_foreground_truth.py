"""Pairs taken with one focus: stopped down, the boughs still have a disc in their own frame."""

from functools import cache

import numpy as np
import pytest

from blendkit.hints import Hints
from blendkit.merge import Merged, merge_pair
from blendkit.simulate import SCENES, PairSpec, SimulatedPair, make_pair
from blendkit.simulate.metrics import psnr, regions
from blendkit.simulate.rough_mask import rough_mask

_SIZE = (900, 600)


@cache
def pair() -> SimulatedPair:
    spec = PairSpec(
        foreground_disc_px=(45.0, 8.0),
        background_disc_px=(20.0, 3.6),
        shift_px=(5.0, -3.0),
        seed=4,
    )
    return make_pair(SCENES["twigs_against_sky"](4, _SIZE), spec)


def gained(merged: Merged, where: str) -> float:
    """Return by how much a merge is nearer to the truth than the background frame, dB."""
    truth = pair().truth
    region = regions(truth)[where]
    before = psnr(pair().background.pixels, truth.composite, region=region)
    return psnr(merged.pixels, truth.composite, region=region) - before


@cache
def merged(*, painted: bool) -> Merged:
    mask = rough_mask(pair().truth.matte, seed=4) if painted else None
    return merge_pair(pair().background, pair().foreground, hints=Hints(foreground_mask=mask))


@pytest.mark.parametrize(("painted", "core_db", "halo_db"), [(True, 20, 5), (False, 20, 5)])
def test_boughs_that_stay_soft_are_found_all_the_same(
    painted: bool, core_db: float, halo_db: float
) -> None:
    # With the weights for sharp boughs they gained 8 to 12 and 3 to 5 dB painted, half unpainted.
    result = merged(painted=painted)
    assert core_db < gained(result, "core") < 40
    assert halo_db < gained(result, "halo") < 25


@pytest.mark.parametrize("painted", [True, False])
def test_the_softness_is_flagged(painted: bool) -> None:
    assert "soft-foreground" in {flag.kind for flag in merged(painted=painted).flags}


def test_leaves_that_stay_soft_are_found_with_nothing_painted() -> None:
    # Weights that had seen few leaves, and no bushes, found 0.05 of them and gained 0.5 dB.
    spec = PairSpec(
        foreground_disc_px=(36.0, 6.0),
        background_disc_px=(16.0, 2.7),
        shift_px=(5.0, -3.0),
        seed=5,
    )
    taken = make_pair(SCENES["leaves"](5, (750, 500)), spec)
    result, truth = merge_pair(taken.background, taken.foreground), taken.truth
    found = float(np.minimum(result.matte.alpha, truth.matte).sum() / truth.matte.sum())
    assert 0.4 < found < 0.95
    before = psnr(taken.background.pixels, truth.composite)
    assert before + 3.5 < psnr(result.pixels, truth.composite) < before + 20
