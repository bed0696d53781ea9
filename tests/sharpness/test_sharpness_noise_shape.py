"""The grain of demosaiced frames: hidden from differences of neighbours, and coarser than white."""

import cv2
import numpy as np
import pytest
from skimage import data

from blendkit.filters.noise_shape import WHITE, NoiseShape
from blendkit.frame import Float
from blendkit.sharpness.noise import measure_noise
from blendkit.sharpness.noise_shape import measure_shape, quiet_places, whiter

SIGMA = 0.01
BILINEAR_PIXEL = np.array([0.75, 0.7906, 0.75])
"""Deviation of bilinearly demosaiced noise of deviation 1, by the weights of its means: red and
blue are there at 1 of 4 px, the mean of 2 at 2, of 4 at 1; green at 1 of 2, else the mean of 4."""
BILINEAR_COARSE = np.array([2.0, 2**0.5, 2.0])
"""The same of the noise in coarse detail: one of four photosites is red, one of two is green."""


def soft_ground(size: tuple[int, int] = (800, 1000)) -> Float:
    """Return scikit-image's cat (open data) far out of focus."""
    picture = cv2.resize(np.square(np.asarray(data.chelsea(), np.float32) / 255), size[::-1])
    return np.asarray(cv2.GaussianBlur(picture, (0, 0), 12.0), np.float32)


def bilinear(light: Float, seed: int) -> Float:
    noisy = light + np.random.default_rng(seed).normal(0, SIGMA, light.shape)
    sites = noisy[..., 1].copy()
    sites[::2, ::2], sites[1::2, 1::2] = noisy[::2, ::2, 0], noisy[1::2, 1::2, 2]
    coded = np.clip(np.rint(sites * 50000 + 5000), 0, 65535).astype(np.uint16)
    rgb = cv2.demosaicing(coded, cv2.COLOR_BayerRGGB2RGB)
    return np.asarray((rgb.astype(np.float32) - 5000) / 50000, np.float32)


def shape_of(pixels: Float) -> NoiseShape:
    return measure_shape(quiet_places(pixels))


def test_demosaiced_noise_has_the_deviation_that_bilinear_means_leave() -> None:
    model = measure_noise(bilinear(soft_ground(), 1))
    grey = np.full((1, 3), 0.2, np.float32)
    assert model.sigma(grey)[0] == pytest.approx(SIGMA * BILINEAR_PIXEL, rel=0.15)
    assert model.coarse_sigma(grey)[0] == pytest.approx(SIGMA * BILINEAR_COARSE, rel=0.15)


def test_drawn_grain_is_correlated_as_demosaiced_grain_is() -> None:
    ground = soft_ground()
    drawn = shape_of(bilinear(ground, 1)).drawn((512, 512), seed=1)
    taken = (bilinear(ground, 2) - bilinear(ground, 3))[100:612, 100:612]
    for dy, dx in ((0, 1), (1, 1), (0, 2)):
        one, other = (
            [
                float(np.corrcoef(a[dy:, dx:].ravel(), a[: 512 - dy, : 512 - dx].ravel())[0, 1])
                for a in (grain.mean(axis=2), grain[..., 0] - grain[..., 2])
            ]
            for grain in (drawn, taken)
        )
        assert one == pytest.approx(other, abs=0.17)
    assert np.corrcoef(drawn[:, 1:, 0].ravel(), drawn[:, :-1, 0].ravel())[0, 1] > 0.35


def lossy(light: Float, seed: int) -> Float:
    """Return light with noise of 0.004 as a JPEG file keeps it, quality 93."""
    noisy = light + np.random.default_rng(seed).normal(0, 0.4 * SIGMA, light.shape)
    coded = np.rint(255 * np.sqrt(np.clip(noisy, 0, 1))).astype(np.uint8)
    stored = cv2.imencode(".jpg", coded, [cv2.IMWRITE_JPEG_QUALITY, 93])[1]
    return np.square(np.asarray(cv2.imdecode(stored, cv2.IMREAD_COLOR), np.float32) / 255)


def test_a_lossy_file_is_not_taken_for_one_without_grain() -> None:
    """Its blocks hold no differences of neighbours, which are all that was once looked at."""
    ground = 0.7 * soft_ground()
    first, second = lossy(ground, 1), lossy(ground, 2)
    kept = (first - second).std(axis=(0, 1)) / 2**0.5
    stated = measure_noise(first).sigma(ground.mean(axis=(0, 1), keepdims=True))[0, 0]
    assert np.all((0.35 * kept < stated) & (stated < 2 * kept)), (kept, stated)


@pytest.mark.parametrize("seed", [1, 2])
def test_white_noise_is_found_white(seed: int) -> None:
    ground = soft_ground()
    noisy = ground + np.random.default_rng(seed).normal(0, SIGMA, ground.shape).astype(np.float32)
    shape = shape_of(noisy)
    assert shape.fine == pytest.approx(WHITE.fine, rel=0.08)
    assert shape.coarse == pytest.approx(np.ones(3), abs=0.2)


def test_texture_makes_no_shape_whiter() -> None:
    """Gravel fills every place: what it adds is coarse, so the soft frame's shape is believed."""
    gravel = np.square(np.asarray(data.gravel(), np.float32)[..., None].repeat(3, 2) / 255)
    textured = gravel + np.random.default_rng(3).normal(0, SIGMA, gravel.shape).astype(np.float32)
    ground = soft_ground()
    noisy = ground + np.random.default_rng(4).normal(0, SIGMA, ground.shape).astype(np.float32)
    sharp, soft = shape_of(textured), shape_of(noisy)
    assert sharp.fine.sum() < soft.fine.sum()
    assert whiter(sharp, soft) is soft


def test_a_frame_that_tells_nothing_leaves_the_others_shape_alone() -> None:
    told = shape_of(bilinear(soft_ground(), 1))
    assert whiter(told, WHITE) is told
    assert whiter(WHITE, told) is told


def test_a_sky_full_in_one_channel_takes_no_places() -> None:
    """It is the quietest of all, and its grain is cut off."""
    ground = soft_ground()
    ground[:250] = (0.4, 0.6, 1.2)
    model = measure_noise(np.clip(bilinear(ground, 1), 0, 1))
    stated = model.sigma(np.full((1, 3), 0.2, np.float32))[0]
    assert stated == pytest.approx(SIGMA * BILINEAR_PIXEL, rel=0.2)


def test_a_picture_turned_to_grey_keeps_the_shape_of_its_grain() -> None:
    ground = soft_ground()[..., :1]
    noise = np.random.default_rng(5).normal(0, SIGMA, ground.shape)
    shape = shape_of(np.repeat(ground + noise, 3, axis=2).astype(np.float32))
    assert shape.coarse == pytest.approx(np.ones(3), abs=0.35)  # light is in it, too
    grain = shape.drawn((256, 256), seed=1)
    assert np.abs(grain[..., 0] - grain[..., 2]).max() < 0.1
    assert abs(np.corrcoef(grain[:, 1:, 0].ravel(), grain[:, :-1, 0].ravel())[0, 1]) < 0.2


@pytest.mark.parametrize("light", [0.0, 0.3, 1.0])
def test_a_frame_without_grain_or_without_a_usable_place_counts_as_white(light: float) -> None:
    assert shape_of(np.full((200, 300, 3), light, np.float32)) is WHITE
    assert shape_of(np.full((20, 30, 3), light, np.float32)) is WHITE


@pytest.mark.parametrize("size", [(9, 300), (300, 9), (9, 9), (1, 40)])
def test_a_strip_too_narrow_for_a_block_is_measured_all_the_same(size: tuple[int, int]) -> None:
    """Of two frames that share no more."""
    noise = np.random.default_rng(4).normal(0, SIGMA, (*size, 3))
    told = measure_noise(np.asarray(0.3 + noise, np.float32)).sigma(np.full(3, 0.3, np.float32))
    assert (told < 2 * SIGMA).all()
    if max(size) == 300:  # enough to tell it by
        assert (told > 0.5 * SIGMA).all()
