"""Boughs beside the sitter with nothing painted: followed up to her outline, and no farther."""

import cv2
import numpy as np
import pytest

from blendkit.merge import merge_pair
from blendkit.simulate import SCENES, PairSpec, make_pair


@pytest.mark.parametrize("seed", [1, 2])
def test_boughs_run_on_beside_her_and_she_stays(seed: int) -> None:
    spec = PairSpec(
        foreground_disc_px=(50.0, 0.8),
        background_disc_px=(20.0, 3.0),
        shift_px=(4.0, -3.0),
        iso=(100.0, 800.0),
        seed=seed,
    )
    pair = make_pair(SCENES["twigs_against_sky"](seed, (900, 600)), spec)
    merged, truth = merge_pair(pair.background, pair.foreground), pair.truth
    away = cv2.dilate((truth.sitter > 0.02).astype(np.uint8), np.ones((11, 11), np.uint8)) == 0
    beside = (merged.sitter > 0.5) & away
    twigs = truth.matte[beside].sum()
    assert twigs > 20, "no twig beside her in this scene"
    found = np.minimum(merged.matte.alpha, truth.matte)[beside].sum()
    assert found > 0.6 * twigs, "boughs end in mid-air before her"
    hers = (truth.sitter > 0.5) & (truth.matte < 0.02)
    changed = np.abs(merged.pixels - pair.background.pixels).max(axis=2) > 1 / 65535
    assert changed[hers].mean() < 0.001
