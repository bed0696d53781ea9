"""Masks as people paint them, and the scores that judge a merge."""

import cv2
import numpy as np
import pytest
from skimage.metrics import peak_signal_noise_ratio

from blendkit.simulate import SCENES, PairSpec, SimulatedPair, make_pair
from blendkit.simulate.metrics import grid_rms_px, psnr, regions, scores, ssim
from blendkit.simulate.rough_mask import eight_strokes, rough_mask


@pytest.fixture(scope="module")
def pair() -> SimulatedPair:
    spec = PairSpec(foreground_disc_px=(40, 1), background_disc_px=(20, 3))
    scene = SCENES["thin_boughs_over_woods"](1, (600, 400), unit_px=0.75)
    return make_pair(scene, spec)


def test_a_rough_mask_covers_the_boughs_and_reaches_10_to_20_px_past_them(
    pair: SimulatedPair,
) -> None:
    matte = pair.truth.matte
    mask = rough_mask(matte, seed=1)
    assert (matte * mask).sum() / matte.sum() > 0.98
    past = cv2.distanceTransform((matte < 0.3).astype(np.uint8), cv2.DIST_L2, 5)
    rim = (mask > 0.5) & (cv2.erode((mask > 0.5).astype(np.uint8), np.ones((3, 3))) == 0)
    assert 8 < np.median(past[rim]) < 20
    # a hand trembles: the rim keeps no even distance, as a dilation would
    assert past[rim].std() > 2


def test_masks_differ_by_seed_and_can_forget_twigs(pair: SimulatedPair) -> None:
    matte = pair.truth.matte
    one, other = rough_mask(matte, seed=1), rough_mask(matte, seed=2)
    assert np.abs(one - other).mean() > 0.01
    forgetful = rough_mask(matte, seed=1, missed=0.3)
    assert 0.2 < (matte * forgetful).sum() / (matte * one).sum() < 0.995


def test_strokes_lie_on_boughs_and_on_free_background(pair: SimulatedPair) -> None:
    matte = pair.truth.matte
    strokes = eight_strokes(matte, seed=0)
    roles = [stroke.role for stroke in strokes]
    assert (roles.count("foreground"), roles.count("background")) == (5, 3)
    for stroke in strokes:
        x, y = np.rint(np.array(stroke.points)).astype(int).T
        under = matte[np.clip(y, 0, matte.shape[0] - 1), np.clip(x, 0, matte.shape[1] - 1)]
        if stroke.role == "foreground":
            assert under.mean() > 0.5
        else:
            assert under.max() < 0.05


def test_psnr_is_that_of_another_library() -> None:
    rng = np.random.default_rng(0)
    wanted = rng.uniform(0, 1, (40, 50, 3))
    found = np.clip(wanted + rng.normal(0, 0.02, wanted.shape), 0, 1)
    assert psnr(found, wanted) == pytest.approx(
        peak_signal_noise_ratio(wanted, found, data_range=1.0)
    )
    assert np.isnan(psnr(found, wanted, region=np.zeros((40, 50), bool)))


def test_regions_tell_halo_from_bough_and_score_the_truth_highest(pair: SimulatedPair) -> None:
    parts = regions(pair.truth)
    assert not (parts["core"] & parts["halo"]).any()
    assert not (parts["clear"] & parts["halo"]).any()
    assert parts["halo"].mean() > 0.05
    untouched = scores(pair.background.pixels, pair.truth)
    plated = scores(pair.truth.plate, pair.truth)
    assert plated["halo"] > untouched["halo"] + 8
    assert scores(pair.truth.composite, pair.truth)["whole"] > 150
    assert ssim(pair.truth.composite, pair.truth.composite) == pytest.approx(1)


def test_grid_error_of_a_small_rotation() -> None:
    """A turn by t about a corner moves points by r t: RMS over the grid = t x RMS of r."""
    turn = 1e-4
    warp = np.array([[1, -turn, 0], [turn, 1, 0], [0, 0, 1]])
    x, y = np.meshgrid(np.linspace(0, 599, 9), np.linspace(0, 399, 9))
    expected = turn * np.sqrt((x**2 + y**2).mean())
    assert grid_rms_px(warp, np.eye(3), (600, 400)) == pytest.approx(expected)
