"""The matte held to the plate: exact mixtures over a known plate."""

import cv2
import numpy as np
import pytest
from skimage import data

from blendkit.filters.disc import disc_blur
from blendkit.frame import Float
from blendkit.masks.plate_term import hold_to_plate

SHAPE = (200, 300)
GRAIN = 0.002
SKY, BARK, GOLD = (0.25, 0.36, 0.6), (0.04, 0.03, 0.02), (0.5, 0.28, 0.03)


def painted(color: tuple[float, float, float]) -> Float:
    return np.full((*SHAPE, 3), color, np.float32)


def twigs() -> Float:
    drawn = np.zeros((4 * SHAPE[0], 4 * SHAPE[1]), np.uint8)
    for k in range(6):
        cv2.line(drawn, (150 * k, 0), (180 * k + 200, 4 * SHAPE[0]), 255, 6 + 2 * k)
    return cv2.resize(drawn, SHAPE[::-1], interpolation=cv2.INTER_AREA).astype(np.float32) / 255


def taken(matte: Float, color: Float, behind: Float) -> Float:
    noise = np.random.default_rng(1).normal(0, GRAIN, behind.shape).astype(np.float32)
    return np.asarray(matte[..., None] * color + (1 - matte[..., None]) * behind + noise)


def held(seen: Float, plate: Float, alpha: Float, color: Float) -> Float:
    region = np.ones(SHAPE, np.bool_)
    return hold_to_plate(seen, plate.__getitem__, alpha, color, region, GRAIN)


@pytest.mark.parametrize("blur_px", [3, 5])
def test_over_a_plain_sky_a_smeared_matte_becomes_exact(blur_px: int) -> None:
    matte, sky, bark = twigs(), painted(SKY), painted(BARK)
    smeared = np.asarray(cv2.blur(matte, (blur_px, blur_px)), np.float32)
    result = held(taken(matte, bark, sky), sky, smeared, bark)
    error, before = (float(np.abs(m - matte).mean()) for m in (result, smeared))
    assert error < 0.25 * before


def test_over_gravel_the_equation_says_nothing() -> None:
    grey = np.square(np.asarray(data.gravel(), np.float32)[: SHAPE[0], : SHAPE[1]] / 255)
    gravel = np.asarray(0.05 + 0.6 * np.repeat(grey[..., None], 3, axis=2), np.float32)
    matte, bark = twigs(), painted(BARK)
    result = held(taken(matte, bark, gravel), disc_blur(gravel, 25), matte, bark)
    assert float(np.abs(result - matte).mean()) < 0.01
    assert float(result[cv2.dilate(matte, np.ones((9, 9))) == 0].max()) == 0


def test_what_is_darker_than_the_sky_in_one_channel_covers_it_whatever_its_colour() -> None:
    """A golden leaf of which little was found, and whose colour was guessed to be the sky's."""
    leaf = np.zeros(SHAPE, np.uint8)
    cv2.ellipse(leaf, (150, 100), (60, 30), 20, 0, 360, 255, -1)
    matte, sky = np.float32(leaf / 255), painted(SKY)
    result = held(taken(matte, painted(GOLD), sky), sky, 0.3 * matte, sky)
    least = 1 - GOLD[2] / SKY[2]
    inside = cv2.erode(matte, np.ones((5, 5))) == 1
    assert least - 0.06 < float(result[inside].mean()) < least + 0.02
    assert float(result[cv2.dilate(matte, np.ones((9, 9))) == 0].max()) == 0
