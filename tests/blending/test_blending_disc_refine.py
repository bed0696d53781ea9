"""Discs are refined to the one that leaves the plainest plate, on veils whose disc is known."""

import cv2
import numpy as np
import pytest
from skimage import data

from blendkit.blending import BoughGroup
from blendkit.blending.disc_refine import refined_groups
from blendkit.filters.disc import disc_blur
from blendkit.filters.rim_cut import RimCut, cut_blur
from blendkit.frame import Float

SHAPE = (400, 600)
TRUE_PX = 40.0
BARK = np.array((0.05, 0.04, 0.03), np.float32)


def boughs(count: int = 14, thick_px: tuple[int, int] = (3, 9)) -> Float:
    drawn, rng = np.zeros(SHAPE, np.uint8), np.random.default_rng(5)
    for _ in range(count):
        ends = rng.integers(0, (600, 400, 600, 400)).tolist()
        thick = int(rng.integers(*thick_px))
        cv2.line(drawn, tuple(ends[:2]), tuple(ends[2:]), 255, thick, cv2.LINE_AA)
    return np.asarray(drawn / 255, np.float32)


def scene(*, softness_px: float) -> Float:
    picture = np.square(np.asarray(data.coffee(), np.float32) / 255)
    return disc_blur(np.ascontiguousarray(picture), softness_px)


def veiled(plate: Float, alpha: Float, disc_px: float, cut: float = 0.0) -> Float:
    rim = RimCut.over(SHAPE, cut)
    light = cut_blur(np.ascontiguousarray(alpha[..., None] * BARK), disc_px, rim)
    clear = 1 - cut_blur(alpha, disc_px, rim)[..., None]
    noise = np.random.default_rng(6).normal(0, 0.001, plate.shape)
    return np.asarray(light + clear * plate + noise, np.float32)


def refined(background: Float, alpha: Float, found_px: float, factor: int = 1) -> BoughGroup:
    color = np.broadcast_to(BARK, background.shape).astype(np.float32)
    share = np.ones([n * factor for n in SHAPE], np.float32)
    groups = [BoughGroup(share, found_px, (0.0, 0.0))]
    nowhere = np.zeros(SHAPE, np.float32)
    (group,) = refined_groups(background, alpha, color, nowhere, groups, factor)
    return group


@pytest.mark.parametrize("found_px", [33.0, 44.0, 48.0, 52.0])
@pytest.mark.parametrize("softness_px", [0.0, 16.0])
def test_a_disc_found_wrong_comes_out_right(found_px: float, softness_px: float) -> None:
    # Sharp behind as in a focus pair, soft as in a pair at two apertures.
    alpha = boughs()
    background = veiled(scene(softness_px=softness_px), alpha, TRUE_PX)
    assert abs(refined(background, alpha, found_px).disc_px - TRUE_PX) < 1.5


@pytest.mark.parametrize("found_px", [34.0, 48.0])
def test_thick_boughs_are_no_reason_for_a_smaller_disc(found_px: float) -> None:
    # Much of a veil as dense as theirs stretches what is behind, whatever disc is tried.
    alpha = boughs(4, (24, 40))
    background = veiled(scene(softness_px=4.0), alpha, TRUE_PX)
    assert abs(refined(background, alpha, found_px).disc_px - TRUE_PX) < 2.5


def test_discs_are_px_of_the_full_picture() -> None:
    alpha = boughs()
    background = veiled(scene(softness_px=10.0), alpha, TRUE_PX)
    assert abs(refined(background, alpha, 3 * 47.0, factor=3).disc_px - 3 * TRUE_PX) < 4.5


def test_where_there_is_no_veil_the_disc_stays_as_it_was_found() -> None:
    alpha = boughs()
    assert refined(scene(softness_px=10.0), np.zeros_like(alpha), 47.0).disc_px == 47.0


@pytest.mark.parametrize(("softness_px", "factor"), [(0.0, 1), (16.0, 3)])
def test_discs_that_the_lens_cut_are_told_from_even_ones(softness_px: float, factor: int) -> None:
    alpha = boughs()
    even = refined(
        veiled(scene(softness_px=softness_px), alpha, TRUE_PX), alpha, 37.0 * factor, factor
    )
    assert even.rim.share == 0
    background = veiled(scene(softness_px=softness_px), alpha, TRUE_PX, cut=0.5)
    found = refined(background, alpha, 37.0 * factor, factor)
    assert found.rim.share == pytest.approx(0.5, abs=0.16)
    assert found.disc_px == pytest.approx(TRUE_PX * factor, rel=0.08)
    # It is the cut of the whole picture, whose centre it knows.
    full = RimCut.over([n * factor for n in SHAPE], found.rim.share)
    assert found.rim.center_px == pytest.approx(full.center_px)
    assert found.rim.reach_px == pytest.approx(full.reach_px)
