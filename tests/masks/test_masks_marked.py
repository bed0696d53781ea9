"""A bough that was missed and is marked by a stroke: the network finds it when it is told."""

from functools import cache

import cv2
import numpy as np
import pytest

from blendkit.filters.bands import gaussian
from blendkit.filters.disc import disc_blur
from blendkit.frame import Bool, Float
from blendkit.masks.marked import found_where_marked
from blendkit.masks.network import SHARP, network_matte

SHAPE = (300, 460)
BOUGH = ((20, 150), (440, 130))
GRAIN = 0.003


def drawn(*lines: tuple[tuple[int, int], tuple[int, int]], width_px: int) -> Float:
    canvas = np.zeros((SHAPE[0] * 4, SHAPE[1] * 4), np.uint8)
    for start, end in lines:
        cv2.line(canvas, *(tuple(4 * v for v in p) for p in (start, end)), 255, 4 * width_px)
    small = cv2.resize(canvas, SHAPE[::-1], interpolation=cv2.INTER_AREA)
    return small.astype(np.float32) / 255


@cache
def petals_before_trunks() -> tuple[Float, Float, Float, Bool]:
    """Return both frames, the bough's matte, and a rough mask around bough and petals.

    The matte is NaN at petals and before trunks: whose these are is no question of this test.
    """
    rng = np.random.default_rng(5)
    trunks = drawn(*(((x, 0), (x + 4, SHAPE[0])) for x in range(15, 460, 46)), width_px=14)
    bark = np.float32([0.07, 0.05, 0.035])
    plate = (1 - trunks[..., None]) * np.float32([0.5, 0.6, 0.75]) + trunks[..., None] * bark
    plate *= 1 + 0.3 * gaussian(rng.standard_normal((*SHAPE, 1)).astype(np.float32), 2.0)[..., None]
    bough = drawn(BOUGH, width_px=12)
    petals = np.zeros(SHAPE, np.float32)
    for x in range(30, 440, 24):
        cv2.circle(petals, (x, int(rng.uniform(95, 190))), 9, 1.0, -1, cv2.LINE_AA)
    color = np.where(petals[..., None] > 0, np.float32([0.8, 0.25, 0.4]), bark)
    alpha = np.maximum(bough, petals)[..., None]
    sharp = alpha * color + (1 - alpha) * plate
    veil, cover = disc_blur(alpha * color, 60), disc_blur(alpha[..., 0], 60)[..., None]
    soft = veil + (1 - cover) * disc_blur(plate, 24)
    noise = rng.normal(0, GRAIN, (2, *SHAPE, 3))
    frames = (np.asarray(np.maximum(f, 0), np.float32) for f in (soft, sharp))
    one, other = (np.asarray(f + n, np.float32) for f, n in zip(frames, noise, strict=True))
    region = cv2.dilate((alpha[..., 0] > 0).astype(np.uint8), np.ones((25, 25), np.uint8)) > 0
    bough[(petals > 0) | ((trunks > 0) & (bough == 0))] = np.nan
    return one, other, bough, region


def asked(front: Float, matte: Float) -> Float:
    soft, sharp, _, region = petals_before_trunks()
    return found_where_marked(soft, sharp, matte, region, front, GRAIN, SHARP)


def without(bough: Float) -> Float:
    """Return what the network finds by itself, and of the bough nothing."""
    soft, sharp, _, region = petals_before_trunks()
    found = network_matte(soft, sharp, region.astype(np.float32), GRAIN, painted=True)
    near = cv2.dilate(np.nan_to_num(bough), np.ones((5, 5), np.uint8)) > 0
    return np.where(near, np.float32(0), found)


@pytest.mark.parametrize("brush_px", [8, 16])
def test_a_marked_bough_is_found(brush_px: int) -> None:
    bough = petals_before_trunks()[2]
    matte = without(bough)
    front = (drawn(BOUGH, width_px=brush_px) > 0.5).astype(np.float32)
    found = asked(front, matte)
    assert (found >= matte).all()
    assert found[bough > 0.95].mean() > 0.9
    added = (found - matte)[bough < 0.02]
    assert added.sum() < 0.05 * np.nansum(bough), "the sky beside it is left alone"


def test_what_was_found_already_is_not_asked_about() -> None:
    front = (drawn(BOUGH, width_px=8) > 0.5).astype(np.float32)
    whole = np.ones(SHAPE, np.float32)
    assert asked(front, whole) is whole


def test_a_wide_stroke_over_gaps_adds_little() -> None:
    soft, sharp, _, region = petals_before_trunks()
    matte = network_matte(soft, sharp, region.astype(np.float32), GRAIN, painted=True)
    found = asked(region.astype(np.float32), matte)
    assert (found - matte).sum() < 0.08 * matte.sum()
