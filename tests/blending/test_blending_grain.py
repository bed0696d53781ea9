"""Grain is brought to a wanted deviation, and bark stays."""

import numpy as np
import pytest

from blendkit.blending.finish import color_with_grain, grain_blurred
from blendkit.blending.grain import add_grain, reduce_grain
from blendkit.filters.disc import disc_blur
from blendkit.filters.noise_shape import NoiseShape, pixel_gains
from blendkit.masks import Matte
from blendkit.settings import GrainSettings
from blendkit.sharpness.noise import NO_NOISE, NoiseModel, measure_noise

SIGMA = 0.02


FLAT = NoiseModel((0.0,) * 3, (SIGMA**2,) * 3)


def coarse() -> NoiseModel:
    """Return noise of the same deviation that neighbours share, as demosaiced noise is."""
    power = np.stack([np.eye(3) * share for share in (0.2, 2.0, 6.0)])
    power /= pixel_gains() @ power[:, 0, 0]
    return NoiseModel(FLAT.slope, FLAT.floor, NoiseShape(power, np.full(3, 0.2)))


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
    cleaned, _ = reduce_grain(noisy, FLAT)
    left = cleaned[20:-20, 20:80].std()
    assert 0.02 * SIGMA < left < 0.2 * SIGMA
    kept = (cleaned - 0.3)[20:-20, 120:180]
    wanted = bark[20:-20, 120:180]
    assert (kept * wanted).mean() / np.square(wanted).mean() == pytest.approx(1, abs=0.05)


@pytest.mark.parametrize("present", [0.0, 0.6, 1.0])
def test_grain_reaches_the_wanted_deviation(present: float) -> None:
    rng = np.random.default_rng(3)
    start = (0.4 + present * SIGMA * rng.standard_normal((512, 512, 3))).astype(np.float32)
    share = np.full((512, 512), present, np.float32)
    assert add_grain(start, FLAT, share, seed=1).std() == pytest.approx(SIGMA, rel=0.02)


def test_the_same_seed_gives_the_same_grain() -> None:
    start, share = np.full((8, 8, 3), 0.5, np.float32), np.zeros((8, 8), np.float32)
    one, again, other = (add_grain(start, FLAT, share, seed=s) for s in (1, 1, 2))
    assert np.array_equal(one, again)
    assert not np.array_equal(one, other)


def test_grain_that_neighbours_share_goes_where_its_shape_is_known() -> None:
    noise = coarse()
    noisy = (0.3 + SIGMA * noise.shape.drawn((256, 256), seed=5)).astype(np.float32)
    left, fooled = (
        reduce_grain(noisy, told)[0][20:-20, 20:-20].std() / SIGMA for told in (noise, FLAT)
    )
    assert 0.1 < left < 0.5
    assert fooled > 1.5 * left


def test_added_grain_is_as_coarse_as_the_background_frames() -> None:
    """Pasted where no grain is left, it is like the grain around: in size, not in strength only."""
    noise = coarse()
    color = np.full((160, 160, 3), 0.3, np.float32)
    alpha = np.ones((160, 160), np.float32)
    alpha[0] = 0  # something is around it
    grained = color_with_grain(Matte(alpha, color, alpha > 0), NO_NOISE, noise, GrainSettings())(
        (slice(16, 144), slice(16, 144))
    )
    around = noise.shape.drawn((128, 128), seed=9)
    assert grained.std() == pytest.approx(SIGMA, rel=0.08)
    found, wanted = (
        np.corrcoef(grain[:, 1:, 1].ravel(), grain[:, :-1, 1].ravel())[0, 1]
        for grain in (grained, around)
    )
    assert found == pytest.approx(wanted, abs=0.08)
    assert found > 0.35


@pytest.mark.parametrize(("noise", "present"), [(SIGMA, FLAT), (0.0, NO_NOISE)])
def test_pasted_colour_gets_the_grain_around_it_whether_or_not_it_has_its_own(
    noise: float, present: NoiseModel
) -> None:
    """A foreground that was made softer has lost the noise it was taken with."""
    rng = np.random.default_rng(4)
    color = (0.3 + noise * rng.standard_normal((128, 128, 3))).astype(np.float32)
    alpha = np.ones((128, 128), np.float32)
    alpha[0] = 0  # something is around it
    matte = Matte(alpha, color, alpha > 0)
    grained = color_with_grain(matte, present, FLAT, GrainSettings())
    found = grained((slice(16, 112), slice(16, 112))).std()
    assert found == pytest.approx(SIGMA, rel=0.08)


def test_where_all_strong_noise_goes_the_grain_around_comes() -> None:
    """Bark without structure at ISO 800 beside ISO 100: noise is shrunk away whole, and replaced.

    What noise is left was once told by how much was taken out; by the error of that measure no
    grain seemed missing, and dark bark kept a third of it.
    """
    rng = np.random.default_rng(8)
    strong = NoiseModel((0.0,) * 3, ((2.8 * SIGMA) ** 2,) * 3)
    color = (0.4 + 2.8 * SIGMA * rng.standard_normal((160, 160, 3))).astype(np.float32)
    alpha = np.ones((160, 160), np.float32)
    alpha[0] = 0  # something is around it
    matte = Matte(alpha, color, alpha > 0)
    grained = color_with_grain(matte, strong, FLAT, GrainSettings())((slice(16, 144),) * 2)
    assert grained.std() == pytest.approx(SIGMA, rel=0.12)


def test_what_shrinkage_leaves_of_noise_is_stated() -> None:
    rng = np.random.default_rng(9)
    noise = (SIGMA * rng.standard_normal((200, 200, 3))).astype(np.float32)
    stripes = 0.3 + 0.1 * np.sign(np.sin(np.arange(200) * 1.2))[None, :, None]
    shares = [reduce_grain((light + noise).astype(np.float32), FLAT)[1] for light in (0.3, stripes)]
    plain, barked = (float(share[20:-20, 20:-20].mean()) for share in shares)
    left = reduce_grain(0.3 + noise, FLAT)[0][20:-20, 20:-20].var() / SIGMA**2
    assert plain == pytest.approx(left, abs=0.02)
    assert 0.2 < barked < 1


def test_a_foreground_with_nothing_around_it_is_pasted_as_it_was_taken() -> None:
    rng = np.random.default_rng(4)
    color = (0.3 + SIGMA * rng.standard_normal((64, 64, 3))).astype(np.float32)
    everywhere = np.ones((64, 64), np.float32)
    matte = Matte(everywhere, color, everywhere > 0)
    alone = matte.alone(everywhere > 0)
    assert alone
    grained = color_with_grain(matte, FLAT, NO_NOISE, GrainSettings(), alone=alone)
    assert np.array_equal(grained((slice(0, 64), slice(0, 64))), color)


def test_a_matte_that_is_all_the_frame_reaches_has_nothing_around_it() -> None:
    """Shifted, the foreground frame leaves a rim uncovered, where the matte is 0."""
    covered = np.ones((20, 30), np.bool_)
    covered[:, :3] = False
    color = np.zeros((20, 30, 3), np.float32)
    matte = Matte(covered.astype(np.float32), color, covered)
    assert matte.alone(covered)
    assert not matte.alone(np.ones_like(covered))


def test_a_part_that_is_all_foreground_is_grained_as_in_the_whole_picture() -> None:
    """The page's preview works on a cut, around which there is a picture."""
    color = np.full((64, 64, 3), 0.3, np.float32)
    everywhere = np.ones((64, 64), np.float32)
    matte = Matte(everywhere, color, everywhere > 0)
    grained = color_with_grain(matte, NO_NOISE, FLAT, GrainSettings())
    assert grained((slice(0, 64), slice(0, 64))).std() == pytest.approx(SIGMA, rel=0.1)


@pytest.mark.parametrize("disc_px", [3.0, 8.0])
def test_what_a_repair_blurs_gets_its_grain_back(disc_px: float) -> None:
    rng = np.random.default_rng(6)
    taken = (0.3 + SIGMA * rng.standard_normal((600, 300, 3))).astype(np.float32)
    blurred = disc_blur(taken, disc_px)
    assert blurred.std() < 0.5 * SIGMA
    disc = np.full(taken.shape[:2], disc_px, np.float32)
    disc[:20] = 0
    kept = blurred[:20].copy()
    grain_blurred(blurred, disc, FLAT, GrainSettings())
    assert blurred[20:].std() == pytest.approx(SIGMA, rel=0.05)
    assert np.array_equal(blurred[:20], kept)
