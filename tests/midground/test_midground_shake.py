"""Shake is told by frame and direction; trunks behind and even blur are none."""

import cv2
import numpy as np
import pytest
from skimage import data

from blendkit.filters.disc import disc_blur
from blendkit.frame import Capture, Float
from blendkit.midground.shake import shaken
from blendkit.simulate.sensor import line_kernel

CAPTURES = Capture(exposure_time_s=1 / 500), Capture(exposure_time_s=1 / 15)
SIGMA = 0.001
WIDTH, HEIGHT = 900, 600


def noisy(picture: Float, seed: int) -> Float:
    grain = SIGMA * np.random.default_rng(seed).standard_normal(picture.shape)
    return np.asarray(picture + grain, np.float32)


def smeared(picture: Float, length_px: float, angle_deg: float) -> Float:
    return np.asarray(cv2.filter2D(picture, -1, line_kernel(length_px, angle_deg)), np.float32)


def textured(sigma_x: float, sigma_y: float, seed: int) -> Float:
    """Return an even texture of deviation 1, three equal channels."""
    white = np.random.default_rng(seed).standard_normal((HEIGHT, WIDTH)).astype(np.float32)
    soft = cv2.GaussianBlur(white, (0, 0), sigmaX=sigma_x, sigmaY=sigma_y)
    return np.repeat((soft / soft.std())[..., None], 3, axis=2)


@pytest.fixture(scope="module")
def gravel() -> Float:
    """Return a photograph of gravel, linear, (512, 512, 3)."""
    grey = (data.gravel().astype(np.float32) / 255) ** 2.2 * 0.5
    return np.repeat(grey[..., None], 3, axis=2)


def told(one: Float, two: Float) -> list[str]:
    usable = np.ones(one.shape[:2], np.bool_)
    return [flag.message for flag in shaken(one, two, (SIGMA, SIGMA), usable, CAPTURES)]


@pytest.mark.parametrize(("length_px", "angle_deg"), [(8, 0), (6, 45), (8, 90)])
def test_the_shaken_frame_and_its_direction_are_named(
    gravel: Float, length_px: int, angle_deg: int
) -> None:
    sharp, shake = noisy(gravel, 1), noisy(smeared(gravel, length_px, angle_deg), 2)
    for one, two, name in ((sharp, shake, "foreground"), (shake, sharp, "background")):
        (message,) = told(one, two)
        assert f"the {name} frame" in message
        assert f"detail across {angle_deg} degrees" in message


@pytest.mark.parametrize("disc_px", [2.0, 4.0, 7.0])
def test_even_blur_is_no_shake(gravel: Float, disc_px: float) -> None:
    sharp, soft = noisy(gravel, 1), noisy(disc_blur(gravel, disc_px), 2)
    assert told(sharp, soft) == []
    assert told(soft, sharp) == []


def sitter_before(trunks: Float, disc_px: float) -> Float:
    """Return somebody in a coat before trunks that lie out of focus by a disc."""
    y, x = np.mgrid[:HEIGHT, :WIDTH]
    body = ((np.abs(x - 450) < 90) & (y > 200)).astype(np.float32)[..., None]
    coat = 0.18 * np.exp(0.35 * textured(1.5, 1.5, 9))
    return np.asarray(body * coat + (1 - body) * disc_blur(trunks, disc_px), np.float32)


@pytest.mark.parametrize("wide_px", [14.0, 24.0, 40.0])
def test_trunks_that_stopping_down_makes_sharper_are_no_shake(wide_px: float) -> None:
    """Blur takes more across upright trunks than along them, in a frame that nobody shook."""
    trunks = 0.2 * np.exp(0.5 * textured(1.5, 12, 4))
    one, two = (sitter_before(trunks, disc_px) for disc_px in (wide_px, wide_px / 6))
    assert told(noisy(one, 1), noisy(two, 2)) == []


def test_a_shaken_frame_is_told_before_trunks_that_are_out_of_focus() -> None:
    trunks = 0.2 * np.exp(0.5 * textured(1.5, 12, 4))
    wide, stopped = sitter_before(trunks, 30.0), sitter_before(trunks, 5.0)
    (message,) = told(noisy(wide, 1), noisy(smeared(stopped, 10, 0), 2))
    assert message.startswith("the foreground frame (1/15 s) shows ")
    assert "as much detail across 0 degrees (0 = level, counter-clockwise) as along" in message
    (message,) = told(noisy(smeared(wide, 10, 90), 1), noisy(stopped, 2))
    assert message.startswith("the background frame (1/500 s) shows ")
    assert "as much detail across 90 degrees" in message
