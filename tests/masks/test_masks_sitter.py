"""The zone in focus in both frames, veiled or not."""

import numpy as np
import pytest
from skimage import data

from blendkit.filters.disc import disc_blur
from blendkit.filters.resample import reduce_by
from blendkit.frame import Float
from blendkit.masks.sitter import _ALIKE, _at_full_size, _likeness, fading, find_sitter
from blendkit.settings import SharpnessSettings
from blendkit.sharpness.relative import relative_blur


@pytest.fixture
def cloth() -> np.ndarray:
    rng = np.random.default_rng(3)
    return np.repeat(rng.uniform(0.1, 0.5, (120, 160, 1)), 3, axis=2).astype(np.float32)


@pytest.mark.parametrize("at_px", [598, 7800])
def test_she_is_kept_alike_at_both_ends_of_a_large_picture(at_px: int) -> None:
    """45 megapixels are no multiple of what they are reduced by."""
    picture = np.full((130, 8256, 3), 0.6, np.float32)
    hers = np.zeros(picture.shape[:2], np.bool_)
    hers[:, at_px : at_px + 260] = True
    picture[hers] = 0.1
    zone = reduce_by(hers.astype(np.float32), 13) > 0.5
    kept = _at_full_size(zone.astype(np.float32), picture, 13)
    assert kept[hers].min() == 1
    reach = np.flatnonzero(kept[65] > 0)
    sides = at_px - reach[0], reach[-1] - (at_px + 259)
    assert max(sides) < 30
    assert abs(sides[0] - sides[1]) <= 13


def test_a_veil_over_detail_leaves_it_alike(cloth: np.ndarray) -> None:
    rng = np.random.default_rng(4)
    veiled = 0.4 * cloth + 0.03 + rng.normal(0, 0.004, cloth.shape)
    alike = _likeness(veiled.astype(np.float32), cloth)
    assert alike.min() > 0.8


def test_blurred_detail_is_unlike(cloth: np.ndarray) -> None:
    rng = np.random.default_rng(5)
    soft = disc_blur(cloth, 14) + rng.normal(0, 0.004, cloth.shape)
    alike = _likeness(soft.astype(np.float32), cloth)
    assert np.percentile(alike, 95) < _ALIKE


def kept(background: Float, aligned: Float) -> Float:
    usable = np.ones(background.shape[:2], np.bool_)
    grain = 0.002, 0.002
    blur = relative_blur(background, aligned, usable, SharpnessSettings(), grain=grain)
    return find_sitter(background, aligned, blur, grain[1]).kept


def taken(scene: Float, disc_px: float, seed: int) -> Float:
    light = np.maximum(disc_blur(scene, disc_px), 0)
    noise = np.random.default_rng(seed).normal(0, 0.004, scene.shape) * np.sqrt(light + 1e-3)
    return np.asarray(light + noise, np.float32)


@pytest.mark.parametrize("discs_px", [(10.0, 3.0), (8.0, 2.0), (14.0, 5.0)])
def test_a_place_a_little_out_of_focus_is_no_sitter(discs_px: tuple[float, float]) -> None:
    # Detail in both frames, where it was, nowhere sharp in both: it used to be kept for somebody
    # who had moved, and boughs ended in mid-air before it.
    scene = np.square(np.asarray(data.coffee(), np.float32) / 255)
    assert kept(*(taken(scene, disc, seed) for seed, disc in enumerate(discs_px))).max() == 0


def test_somebody_who_moved_is_kept_all_the_same() -> None:
    scene = np.square(np.asarray(data.coffee(), np.float32) / 255)
    wide, stopped = taken(scene, 24.0, 1), taken(scene, 5.0, 2)
    somebody = taken(scene[150:350, 200:420], 1.0, 3)
    wide[100:300, 200:420] = somebody
    stopped[106:306, 214:434] = somebody
    zone = kept(wide, stopped) > 0.5
    assert zone[120:280, 220:400].mean() > 0.9
    assert zone[:, 500:].mean() < 0.1


@pytest.mark.parametrize("far_px", [(30.0, 12.0), (10.0, 40.0)])
@pytest.mark.parametrize("own_px", [2.5, 4.0, 6.0])
def test_somebody_softer_in_a_refocused_frame_is_kept(
    far_px: tuple[float, float], own_px: float
) -> None:
    # Focused on boughs at half her distance, a stopped-down frame spreads her by a few px.
    scene = np.square(np.asarray(data.coffee(), np.float32) / 255)
    wide, stopped = (taken(scene, disc, seed) for seed, disc in enumerate(far_px))
    here = slice(100, 300), slice(200, 420)
    for frame, disc, seed in ((wide, 1.0, 3), (stopped, own_px, 4)):
        frame[here] = taken(scene, disc, seed)[here]
    zone = kept(wide, stopped) > 0.5
    assert zone[110:290, 210:410].mean() > 0.9
    assert zone.sum() < 1.3 * 200 * 220


@pytest.mark.parametrize("width", [300, 2500, 13200])  # reduced by 1, 2, 22
def test_inside_what_is_painted_the_sitter_fades_and_outside_she_stays(width: int) -> None:
    height = max(200, width // 10)
    sitter = np.ones((height, width), np.float32)
    painted = np.zeros(sitter.shape, np.bool_)
    painted[height // 4 : -height // 4, 100 : width - 60] = True
    left = fading(sitter, painted)
    assert left[~painted].min() == 1
    down = left[height // 4 : height // 2 + 1, width // 2]
    assert (np.diff(down) <= 0).all()
    assert down[0] > 0.3
    assert down[width // 60 :].max() == 0
