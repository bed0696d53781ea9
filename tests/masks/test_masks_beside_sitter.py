"""Boughs beside the sitter: which run on, and where she ends."""

import cv2
import numpy as np
import pytest

from blendkit.frame import Bool, Float
from blendkit.masks.beside_sitter import beside, running_on
from blendkit.masks.sitter_colours import unlike_her

SHAPE = (400, 600)


def matte(*boughs: tuple[slice, slice]) -> Float:
    alpha = np.zeros(SHAPE, np.float32)
    for bough in boughs:
        alpha[bough] = 1
    return alpha


@pytest.fixture
def beside_her() -> Bool:
    """Her zone from column 200 to 400, of which columns 230 to 370 are hers."""
    zone, searched = np.zeros(SHAPE, np.float32), np.ones(SHAPE, np.bool_)
    zone[:, 200:400] = 1
    searched[:, 230:370] = False
    return beside(searched, zone)


def test_a_bough_that_comes_in_from_outside_runs_on(beside_her: Bool) -> None:
    bough = slice(100, 104), slice(0, 230)
    alpha = matte(bough)
    alpha[:, 210] = 0  # a twig of one px misses a px
    assert np.array_equal(running_on(alpha, beside_her), alpha)


def test_what_shows_beside_her_alone_does_not(beside_her: Bool) -> None:
    strand, bough = (slice(100, 104), slice(205, 230)), (slice(300, 304), slice(0, 150))
    left = running_on(matte(strand, bough), beside_her)
    assert not left[strand].any()
    assert left[bough].all()


def test_what_shows_again_behind_a_limb_does(beside_her: Bool) -> None:
    bough, behind = (slice(100, 104), slice(0, 205)), (slice(102, 106), slice(215, 230))
    far = slice(300, 304), slice(372, 395)
    left = running_on(matte(bough, behind, far), beside_her)
    assert left[behind].all()
    assert not left[far].any()


def test_a_matte_without_anything_beside_her_is_the_very_same(beside_her: Bool) -> None:
    alpha = matte((slice(100, 104), slice(0, 150)))
    assert running_on(alpha, beside_her) is alpha


@pytest.mark.parametrize("seed", range(3))
def test_a_pocket_of_sky_in_her_zone_is_told_by_its_colour(seed: int) -> None:
    rng = np.random.default_rng(seed)
    hers = np.zeros(SHAPE, np.uint8)
    cv2.ellipse(hers, (300, 260), (120, 140), 0, 0, 360, 1, -1)
    cv2.circle(hers, (240, 240), 25, 0, -1)
    zone = cv2.dilate(hers, np.ones((31, 31), np.uint8)) > 0
    zone[200:280, 200:280] = True
    sky = np.float32([0.5, 0.4, 0.25]) * np.linspace(0.6, 1.3, SHAPE[0])[:, None, None]
    cloth = np.float32(rng.uniform(0.05, 0.25, 3)) * rng.uniform(0.7, 1.3, (*SHAPE, 1))
    picture = np.where(hers[..., None] > 0, cloth, sky) + rng.normal(0, 0.004, (*SHAPE, 3))
    unlike = unlike_her(picture.astype(np.float32), hers.astype(np.float32), zone)
    pocket = cv2.erode((zone & (hers == 0)).astype(np.uint8), np.ones((9, 9), np.uint8)) > 0
    assert unlike[pocket].mean() > 0.95
    assert unlike[cv2.erode(hers, np.ones((9, 9), np.uint8)) > 0].mean() < 0.02


def test_where_nothing_lies_around_her_colours_say_nothing() -> None:
    picture = np.full((*SHAPE, 3), 0.3, np.float32)
    everywhere = np.ones(SHAPE, np.bool_)
    assert not unlike_her(picture, np.ones(SHAPE, np.float32), everywhere).any()
