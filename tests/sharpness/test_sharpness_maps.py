"""Noise and relative blur measured on pictures whose noise and blur are known."""

import numpy as np
import pytest
from skimage import data

from blendkit.filters.disc import disc_blur
from blendkit.frame import Float
from blendkit.settings import SharpnessSettings
from blendkit.sharpness.noise import measure_noise
from blendkit.sharpness.relative import disc_ladder, filled, relative_blur


def gravel() -> Float:
    grey = np.asarray(data.gravel(), np.float32)[:400, :500] / 255
    return np.repeat(np.square(grey)[..., None], 3, axis=2)


@pytest.mark.parametrize(("slope", "floor"), [(2e-4, 1e-6), (2e-3, 4e-5)])
def test_noise_follows_signal(slope: float, floor: float) -> None:
    rng = np.random.default_rng(4)
    ramp = np.linspace(0.02, 0.8, 800, dtype=np.float32)[None, :, None] * np.ones((500, 1, 3))
    noisy = ramp + rng.normal(size=ramp.shape) * np.sqrt(slope * ramp + floor)
    model = measure_noise(noisy.astype(np.float32))
    for level in (0.05, 0.2, 0.6):
        found = float(model.sigma(np.full((1, 3), level, np.float32)).mean())
        assert found == pytest.approx(np.sqrt(slope * level + floor), rel=0.1)


@pytest.mark.parametrize("level", [0.7, 0.85, 0.93])
def test_a_place_without_any_grain_says_nothing_about_it(level: float) -> None:
    """A clipped sky pulled down in developing made dark grain 2.4 times what it is."""
    rng = np.random.default_rng(4)
    ramp = np.linspace(0.03, 0.6, 600, dtype=np.float32)[None, :, None] * np.ones((400, 1, 3))
    noisy = (ramp + rng.normal(size=ramp.shape) * np.sqrt(2e-4 * ramp + 2e-6)).astype(np.float32)
    noisy[:40] = level
    model = measure_noise(noisy)
    for light in (0.05, 0.18, 0.5):
        found = float(model.sigma(np.full((1, 3), light, np.float32)).mean())
        assert found == pytest.approx(np.sqrt(2e-4 * light + 2e-6), rel=0.1)


def test_texture_of_a_real_picture_is_not_taken_for_much_noise() -> None:
    """Its smoothest squares tell: what a parabola leaves there is grain, and little else."""
    # scikit-image's coffee cup (open data), from a camera by way of a lossy file.
    picture = np.square(np.asarray(data.coffee(), np.float32) / 255)
    y, x = np.mgrid[-1:1:16j, -1:1:16j].reshape(2, -1)
    surface = np.column_stack([np.ones(256), x, y, x * x, x * y, y * y])
    plane = surface @ np.linalg.pinv(surface)
    squares = [
        picture[row : row + 16, column : column + 16].reshape(-1, 3)
        for row in range(0, 384, 16)
        for column in range(0, 592, 16)
    ]
    lit = [square for square in squares if 0.05 < square[:, 1].mean() < 0.6]
    left = sorted(lit, key=lambda square: float((square - plane @ square)[:, 1].std()))[:20]
    found = np.mean([(square - plane @ square).std(axis=0) for square in left], axis=0)
    model = measure_noise(picture)
    stated = np.mean([model.sigma(square).mean(axis=0) for square in left], axis=0)
    # Wood and cloth fill the rest of it; a soft background tells its grain better.
    assert 0.7 < stated[1] / found[1] < 3


@pytest.mark.parametrize("disc_px", [4.0, 9.0, 20.0])
@pytest.mark.parametrize("sign", [1, -1])
def test_relative_blur_finds_the_disc_and_the_softer_frame(disc_px: float, sign: int) -> None:
    rng = np.random.default_rng(6)
    sharp = gravel()
    soft = disc_blur(sharp, disc_px)
    sharp = sharp + rng.normal(0, 0.01, sharp.shape).astype(np.float32)
    pair = (soft, sharp) if sign > 0 else (sharp, soft)
    everywhere = np.ones(sharp.shape[:2], np.bool_)
    blur = relative_blur(*pair, everywhere, SharpnessSettings())
    sure = blur.confidence > 0.3
    assert sure.mean() > 0.5
    assert float(np.median(blur.disc_px[sure])) == pytest.approx(sign * disc_px, rel=0.15)


@pytest.mark.parametrize("disc_px", [0.0, 1.5, 2.5, 3.5, 5.5, 8.0])
def test_small_discs_are_read_by_degrees(disc_px: float) -> None:
    rng = np.random.default_rng(7)
    sharp = gravel()
    soft = disc_blur(sharp, disc_px)
    noisy = [p + rng.normal(0, 0.002, p.shape).astype(np.float32) for p in (soft, sharp)]
    everywhere = np.ones(sharp.shape[:2], np.bool_)
    blur = relative_blur(noisy[0], noisy[1], everywhere, SharpnessSettings(), graded=True)
    found = float(np.median(blur.disc_px[blur.confidence > 0.3]))
    assert found == pytest.approx(disc_px, abs=0.5)


@pytest.mark.parametrize("sign", [1, -1])
@pytest.mark.parametrize("graded", [False, True])
def test_a_disc_at_the_end_of_the_ladder_is_read_as_the_end(sign: int, *, graded: bool) -> None:
    sharp = gravel()
    settings = SharpnessSettings(largest_disc_share=0.03)
    end = max(disc_ladder(settings.largest_disc_share * 500))
    frames = (disc_blur(sharp, 1.15 * end), sharp)[::sign]
    blur = relative_blur(*frames, np.ones(sharp.shape[:2], np.bool_), settings, graded=graded)
    assert np.median(blur.disc_px) == pytest.approx(sign * end, rel=0.02)


def test_two_zones_are_told_apart_and_empty_ones_filled() -> None:
    sharp = gravel()
    soft = np.where(np.arange(500)[None, :, None] < 250, sharp, disc_blur(sharp, 16))
    everywhere = np.ones(sharp.shape[:2], np.bool_)
    blur = relative_blur(soft, sharp, everywhere, SharpnessSettings())
    disc = filled(blur, (500, 400))
    assert disc.shape == (400, 500)
    assert np.median(disc[:, :200]) < 2
    assert np.median(disc[:, 300:]) == pytest.approx(16, rel=0.2)


def test_what_is_measured_on_the_sitter_is_not_spread_beside_her() -> None:
    sharp = gravel()
    columns = np.arange(500)[None, :, None]
    soft = np.where(columns < 250, sharp, disc_blur(sharp, 16))
    usable = np.ones(sharp.shape[:2], np.bool_)
    usable[:, 250:340] = False  # painted
    hers = np.broadcast_to(columns[..., 0] < 250, usable.shape)
    blur = relative_blur(soft, sharp, usable, SharpnessSettings())
    spread, kept_apart = (filled(blur, (500, 400), apart=one) for one in (None, hers))
    gap = np.s_[:, 256:300]
    assert np.median(spread[gap]) < 10, "her sharpness reaches into the gap"
    assert np.median(kept_apart[gap]) == pytest.approx(16, rel=0.2)
    np.testing.assert_allclose(kept_apart[:, :230], spread[:, :230], atol=1e-4)
