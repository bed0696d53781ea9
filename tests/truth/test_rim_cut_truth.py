"""The cut of the lens's rims, against pairs that the simulator took through both rims."""

from functools import cache

import numpy as np
import pytest

from blendkit.blending import BoughGroup
from blendkit.blending.veil import make_veil
from blendkit.filters.rim_cut import RimCut
from blendkit.hints import Hints
from blendkit.merge import merge_pair
from blendkit.simulate import SCENES, PairSpec, SimulatedPair, make_pair

SIZE = (420, 280)
DISC_PX = 36.0


@cache
def pair() -> SimulatedPair:
    spec = PairSpec(
        foreground_disc_px=(DISC_PX, 0.8),
        background_disc_px=(14.0, 3.0),
        cat_eye=(0.25, 0.25),
        seed=4,
    )
    return make_pair(SCENES["twigs_against_sky"](4, SIZE), spec)


def test_a_veil_of_cut_discs_is_what_the_lens_drew() -> None:
    truth = pair().truth
    everywhere = np.ones(truth.matte.shape, np.float32)

    def error(share: float, disc_px: float) -> float:
        rim = RimCut.over(truth.matte.shape, share)
        group = BoughGroup(everywhere, disc_px, (0.0, 0.0), rim)
        veil = make_veil(truth.matte, truth.foreground_color, [group])
        return float(np.sqrt(np.square(veil.coverage - truth.veil_coverage).mean()))

    cut = error(0.5, DISC_PX)
    even = min(error(0.0, share * DISC_PX) for share in (0.7, 0.8, 0.9, 1.0))
    assert 0.0005 < cut < 0.7 * even


def test_a_merge_finds_out_how_far_discs_are_cut() -> None:
    found = pair()
    merged = merge_pair(found.background, found.foreground, hints=Hints(matte=found.truth.matte))
    (group,) = merged.groups
    assert group.rim.share == pytest.approx(0.5, abs=0.16)
    assert group.disc_px == pytest.approx(DISC_PX, rel=0.1)
