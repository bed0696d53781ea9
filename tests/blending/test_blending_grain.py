"""Grain is brought to a wanted deviation, and bark stays."""

from collections.abc import Callable

import numpy as np
import pytest

from blendkit.blending.finish import color_with_grain
from blendkit.blending.grain import add_grain, reduce_grain, without_noise
from blendkit.frame import Float
from blendkit.masks import Matte
from blendkit.settings import GrainSettings
from blendkit.sharpness.noise import measure_noise

SIGMA = 0.02


def flat_sigma(pixels: Float) -> Float:
    return np.full_like(pixels, SIGMA)


def test_a_models_gain_is_that_of_the_pixels() -> None:
    rng = np.random.default_rng(5)
    light = np.linspace(0.05, 0.4, 600, dtype=np.float32)[None, :, None] * np.ones((400, 1, 3))
    noisy = (light + rng.normal(0, 1, light.shape) * np.sqrt(1e-3 * light + 1e-5)).astype(
        np.float32
    )
    told = measure_noise(noisy).in_light((2.0, 2.0, 2.0)).sigma(2 * light.astype(np.float32))
    assert told.mean() == pytest.approx(measure_noise(2 * noisy).sigma(2 * light).mean(), rel=0.03)


def test_noise_goes_and_bark_stays() -> None:
    rng = np.random.default_rng(2)
    bark = np.zeros((200, 200, 3), np.float32)
    bark[:, 100:] = 0.1 * np.sign(np.sin(np.arange(100) * 1.2))[None, :, None]
    noisy = (0.3 + bark + rng.normal(0, SIGMA, bark.shape)).astype(np.float32)
    cleaned = reduce_grain(noisy, flat_sigma)
    left = cleaned[20:-20, 20:80].std()
    assert 0.02 * SIGMA < left < 0.2 * SIGMA
    kept = (cleaned - 0.3)[20:-20, 120:180]
    wanted = bark[20:-20, 120:180]
    assert (kept * wanted).mean() / np.square(wanted).mean() == pytest.approx(1, abs=0.05)


@pytest.mark.parametrize("present", [0.0, 0.6, 1.0])
def test_grain_reaches_the_wanted_deviation(present: float) -> None:
    rng = np.random.default_rng(3)
    start = (0.4 + present * SIGMA * rng.standard_normal((300, 300, 3))).astype(np.float32)
    share = np.full((300, 300), present, np.float32)
    assert add_grain(start, flat_sigma, share, seed=1).std() == pytest.approx(SIGMA, rel=0.02)


def test_the_same_seed_gives_the_same_grain() -> None:
    start, share = np.full((8, 8, 3), 0.5, np.float32), np.zeros((8, 8), np.float32)
    one, again, other = (add_grain(start, flat_sigma, share, seed=s) for s in (1, 1, 2))
    assert np.array_equal(one, again)
    assert not np.array_equal(one, other)


@pytest.mark.parametrize(("noise", "present"), [(SIGMA, flat_sigma), (0.0, without_noise)])
def test_pasted_colour_gets_the_grain_around_it_whether_or_not_it_has_its_own(
    noise: float, present: Callable[[Float], Float]
) -> None:
    """A foreground that was made softer has lost the noise it was taken with."""
    rng = np.random.default_rng(4)
    color = (0.3 + noise * rng.standard_normal((128, 128, 3))).astype(np.float32)
    alpha = np.ones((128, 128), np.float32)
    alpha[0] = 0  # something is around it
    matte = Matte(alpha, color, alpha > 0)
    grained = color_with_grain(matte, present, flat_sigma, GrainSettings())
    found = grained((slice(16, 112), slice(16, 112))).std()
    assert found == pytest.approx(SIGMA, rel=0.08)


def test_a_foreground_with_nothing_around_it_is_pasted_as_it_was_taken() -> None:
    rng = np.random.default_rng(4)
    color = (0.3 + SIGMA * rng.standard_normal((64, 64, 3))).astype(np.float32)
    everywhere = np.ones((64, 64), np.float32)
    matte = Matte(everywhere, color, everywhere > 0)
    grained = color_with_grain(matte, flat_sigma, without_noise, GrainSettings())
    assert np.array_equal(grained((slice(0, 64), slice(0, 64))), color)
