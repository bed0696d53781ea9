"""Grain is brought to a wanted deviation, and bark stays."""

import numpy as np
import pytest

from blendkit.blending.grain import add_grain, reduce_grain
from blendkit.frame import Float
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
