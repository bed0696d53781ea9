"""Scenes: what they must contain, at every size."""

from dataclasses import replace

import numpy as np
import pytest
from skimage import data

from blendkit.simulate import SCENES, PairSpec, Scene, demo_scene, demo_spec, make_pair, render
from blendkit.simulate.depth_map import motorcycle
from blendkit.simulate.drawing.canvas import linear_from_srgb
from blendkit.simulate.ground import ground_depth_m, receding_ground

SIX = (
    "thin_boughs_over_woods",
    "twigs_against_sky",
    "thick_boughs",
    "twigs_from_below_over_hills",
    "boughs_at_two_depths",
    "leaves",
)


def _inside(scene: Scene, role: str) -> np.ndarray:
    margin = scene.margin_px
    covered = [1 - layer.coverage for layer in scene.layers if layer.role == role]
    return (1 - np.prod(covered, axis=0))[margin:-margin, margin:-margin]


def test_the_six_scenes_of_the_figures_come_first() -> None:
    assert tuple(SCENES)[:6] == SIX


@pytest.mark.parametrize("name", list(SCENES))
def test_a_scene_has_boughs_a_sitter_and_a_full_background(name: str) -> None:
    scene = SCENES[name](5, (300, 200))
    assert 0.08 < _inside(scene, "sitter").mean() < 0.18
    assert 0.004 < _inside(scene, "foreground").mean() < 0.3
    assert scene.layers[0].coverage.min() == 1
    assert all(np.isfinite(layer.color).all() for layer in scene.layers)
    assert all(layer.color.dtype == np.float32 for layer in scene.layers)


@pytest.mark.parametrize("name", ["thin_boughs_over_woods", "twigs_against_sky", "leaves"])
def test_the_seed_decides_everything(name: str) -> None:
    first, again, other = (SCENES[name](seed, (240, 160)) for seed in (1, 1, 2))
    np.testing.assert_array_equal(first.layers[-1].coverage, again.layers[-1].coverage)
    assert np.abs(first.layers[-1].coverage - other.layers[-1].coverage).mean() > 0.01


def test_the_sitters_face_stays_free() -> None:
    for seed in range(2):
        scene = SCENES["thin_boughs_over_woods"](seed, (300, 200))
        sitter = _inside(scene, "sitter") > 0.5
        crown = int(np.flatnonzero(sitter.any(axis=1))[0])
        head = np.zeros_like(sitter)
        head[crown + 4 : crown + 26] = sitter[crown + 4 : crown + 26]
        assert _inside(scene, "foreground")[head].mean() < 0.02


def test_a_cut_out_shows_boughs_at_the_size_of_the_whole() -> None:
    cut = SCENES["thick_boughs"](2, (200, 200), unit_px=1.0, sitter=False)
    assert cut.margin_px == 100
    assert {layer.role for layer in cut.layers} == {"background", "foreground"}


@pytest.mark.parametrize("size", [(240, 160), (160, 240)])
def test_the_demonstration_works_in_both_orientations(size: tuple[int, int]) -> None:
    scene = demo_scene(size)
    pair = make_pair(scene, demo_spec(size))
    assert pair.background.size == size
    assert 0.02 < pair.truth.matte.mean() < 0.3
    assert 0.05 < pair.truth.sitter.mean() < 0.35
    # dusk, but a picture: neither black nor burnt out
    assert 0.05 < np.median(pair.background.pixels) < 0.5
    assert (pair.background.pixels >= 1).mean() < 0.01


def test_motorcycle_has_the_depths_of_its_calibration() -> None:
    """Middlebury 2014: 994.978 px x 193.001 mm / (disparity + 31.086) gives 2.11 to 5.02 m."""
    scene = motorcycle()
    distances = [layer.distance_m for layer in scene.layers]
    assert 4.0 < distances[0] < 5.02
    assert 2.11 < distances[-1] < 2.3
    assert len(distances) == 10


def test_motorcycle_in_focus_everywhere_is_the_picture_itself() -> None:
    scene = motorcycle()
    sharp = replace(PairSpec().cameras(scene)[0], blur_disc_px={x.name: 0.0 for x in scene.layers})
    left = linear_from_srgb(data.stereo_motorcycle()[0].astype(np.float32) / 255)
    apart = np.abs(render(scene, sharp) - left)
    assert np.median(apart) < 1e-3
    assert np.sqrt((apart**2).mean()) < 0.02


def test_ground_recedes_as_level_ground_does() -> None:
    size = (300, 200)
    depth = ground_depth_m(size)
    assert depth[-1] == pytest.approx(3.4, rel=0.02)
    ground = depth[np.isfinite(depth)]
    assert np.all(np.diff(ground) < 0)
    # 1/depth falls evenly with the row
    assert np.ptp(np.diff(1 / ground)) < 1e-4
    scene = receding_ground(1, size)
    distances = [layer.distance_m for layer in scene.layers if layer.name.startswith("ground")]
    assert distances == sorted(distances, reverse=True)
    assert len(distances) == 18
