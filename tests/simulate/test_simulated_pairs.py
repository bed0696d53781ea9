"""The truth of a pair against the frames it describes."""

from dataclasses import replace

import cv2
import numpy as np
import pytest
from skimage.registration import phase_cross_correlation

from blendkit.errors import InputError
from blendkit.frame import luminance
from blendkit.simulate import SCENES, PairSpec, Scene, SimulatedPair, make_pair
from blendkit.simulate.pair import warp_between
from blendkit.simulate.render import render
from blendkit.simulate.sensor import falloff

SIZE = (420, 280)
SPEC = PairSpec(
    foreground_disc_px=(40, 2),
    background_disc_px=(18, 4),
    shift_px=(6.3, -4.7),
    rotation_deg=0.4,
    scale=1.006,
    parallax_px=(5.0, 2.0),
    gain=1.25,
    falloff_ev=(1.4, 0.2),
    iso=(100, 1600),
)


@pytest.fixture(scope="module")
def scene() -> Scene:
    return SCENES["sitter_beside_twigs"](3, SIZE)


@pytest.fixture(scope="module")
def pair(scene: Scene) -> SimulatedPair:
    return make_pair(scene, SPEC)


def test_the_warp_maps_the_middle_by_the_shift_asked_for(pair: SimulatedPair) -> None:
    centre = np.array([(SIZE[0] - 1) / 2, (SIZE[1] - 1) / 2, 1])
    moved = pair.truth.warp @ centre
    assert moved[:2] - centre[:2] == pytest.approx([6.3, -4.7], abs=1e-9)
    assert np.linalg.det(pair.truth.warp[:2, :2]) == pytest.approx(1.006**2)


def test_the_foreground_frame_warped_back_is_the_aligned_truth(
    scene: Scene, pair: SimulatedPair
) -> None:
    _, narrow = SPEC.cameras(scene)
    light = render(scene, narrow, moves=SPEC.movements(scene), seed=SPEC.seed + 1)
    light = light / falloff(SIZE, 0.2)[..., None] / 1.25
    flags = cv2.INTER_LANCZOS4 | cv2.WARP_INVERSE_MAP
    back = cv2.warpAffine(light, pair.truth.warp[:2], SIZE, flags=flags)
    wanted = pair.truth.foreground_aligned / falloff(SIZE, 1.4)[..., None]
    inner = (slice(20, -20), slice(20, -20))
    apart = np.abs(back - wanted)[inner]
    # two interpolations against one: equal but for the sharpest edges
    assert np.median(apart) < 0.002
    assert np.sqrt((apart**2).mean()) < 0.02
    shift, _, _ = phase_cross_correlation(
        luminance(wanted)[inner], luminance(back.astype(np.float32))[inner], upsample_factor=100
    )
    assert np.hypot(*shift) < 0.03


def test_parallax_moves_the_foreground_past_the_sitter(scene: Scene) -> None:
    _, narrow = SPEC.cameras(scene)
    near, anchor = (
        narrow.parallax_px(layer.distance_m) for layer in (scene.layers[-1], scene.anchor)
    )
    assert np.subtract(near, anchor) == pytest.approx([5.0, 2.0])
    # a far layer moves the other way against the anchor, in proportion to 1/distance
    far = narrow.parallax_px(scene.layers[0].distance_m)
    ratio = (1 / 40 - 1 / 6) / (1 / 2.5 - 1 / 6)
    assert np.subtract(far, anchor) == pytest.approx([5.0 * ratio, 2.0 * ratio])


def test_the_composite_is_the_foreground_over_the_plate(pair: SimulatedPair) -> None:
    truth = pair.truth
    matte = truth.matte[..., None]
    wanted = matte * truth.foreground_color + (1 - matte) * truth.plate
    np.testing.assert_allclose(truth.composite, wanted, atol=2e-4)
    assert truth.matte.min() >= 0
    assert truth.matte.max() <= 1 + 1e-6
    assert 0.003 < truth.matte.mean() < 0.3


def test_where_no_foreground_blurs_in_the_plate_is_the_background_frame(
    scene: Scene, pair: SimulatedPair
) -> None:
    wide, _ = SPEC.cameras(scene)
    light = render(scene, wide, seed=SPEC.seed)
    clear = pair.truth.veil_coverage == 0
    assert 0.2 < clear.mean() < 0.98
    np.testing.assert_array_equal(light[clear], pair.truth.plate[clear])
    veiled = pair.truth.veil_coverage > 0.1
    assert np.abs(light - pair.truth.plate)[veiled].mean() > 0.005


def test_exposure_of_the_frames_differs_by_gain_and_falloff(pair: SimulatedPair) -> None:
    """Sitter in focus in both: the ratio of the frames is that of gain and fall-off."""
    flags = cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP
    back = cv2.warpAffine(pair.foreground.pixels, pair.truth.warp[:2], SIZE, flags=flags)
    sitter = (pair.truth.sitter > 0.99) & (pair.truth.veil_coverage < 1e-3)
    ratio = np.median(back[sitter] / np.maximum(pair.background.pixels[sitter], 1e-3))
    expected = 1.25 * np.median((falloff(SIZE, 0.2) / falloff(SIZE, 1.4))[sitter])
    assert ratio == pytest.approx(expected, rel=0.03)


def test_wind_moves_the_matte_but_not_the_warp(scene: Scene, pair: SimulatedPair) -> None:
    windy = make_pair(scene, replace(SPEC, wind_px=(9.0, 0.0)))
    np.testing.assert_allclose(windy.truth.warp, pair.truth.warp)
    moved = np.roll(pair.truth.matte, 9, axis=1)[:, 12:-12]
    assert np.abs(windy.truth.matte[:, 12:-12] - moved).mean() < 0.002


def test_gusts_bend_the_foreground_of_the_foreground_frame_alone(
    scene: Scene, pair: SimulatedPair
) -> None:
    gusty = make_pair(scene, replace(SPEC, gust_px=5.0))
    np.testing.assert_array_equal(gusty.background.pixels, pair.background.pixels)
    np.testing.assert_array_equal(gusty.truth.plate, pair.truth.plate)
    assert np.abs(gusty.truth.matte - pair.truth.matte).mean() > 0.3 * pair.truth.matte.mean()
    assert gusty.truth.matte.sum() == pytest.approx(pair.truth.matte.sum(), rel=0.15)
    flow = cv2.calcOpticalFlowFarneback(
        *(np.uint8(255 * frames.truth.matte) for frames in (pair, gusty)),
        None,
        0.5,
        3,
        25,
        5,
        7,
        1.5,
        0,
    )
    lengths = np.hypot(flow[..., 0], flow[..., 1])[pair.truth.matte > 0.5]
    assert 1 < np.median(lengths) < 10


def test_sway_moves_the_sitter_only_in_the_foreground_frame(scene: Scene) -> None:
    swayed = make_pair(scene, replace(SPEC, sway_px=(6.0, 0.0)))
    still = make_pair(scene, SPEC)
    np.testing.assert_array_equal(swayed.truth.plate, still.truth.plate)
    apart = np.abs(swayed.truth.foreground_aligned - still.truth.foreground_aligned).mean(axis=2)
    near_sitter = cv2.dilate((still.truth.sitter > 0).astype(np.uint8), np.ones((25, 25))) > 0
    assert apart[~near_sitter].max() < 1e-5
    assert apart[near_sitter].mean() > 0.005


def test_a_focus_pair_swaps_what_is_sharp(scene: Scene) -> None:
    spec = PairSpec(f_number=(2.8, 2.8), focus_distance_m=(6.0, 2.5), long_side_mm=36)
    discs = make_pair(scene, spec).truth.blur_discs_px
    assert discs["sitter"][0] == 0
    assert discs["boughs-1"][1] == 0
    assert discs["boughs-1"][0] > 5
    assert discs["sitter"][1] > 5


def test_an_aperture_pair_keeps_the_ratio_of_its_f_numbers(scene: Scene) -> None:
    discs = make_pair(scene, PairSpec(f_number=(2.8, 16.0))).truth.blur_discs_px
    assert discs["boughs-1"][1] / discs["boughs-1"][0] == pytest.approx(2.8 / 16)


def test_what_the_camera_recorded_is_stated(pair: SimulatedPair) -> None:
    assert (pair.background.capture.f_number, pair.foreground.capture.f_number) == (2.8, 16.0)
    assert pair.foreground.capture.iso == 1600
    assert pair.background.pixels.dtype == np.float32


def test_same_seed_same_pair(scene: Scene, pair: SimulatedPair) -> None:
    again = make_pair(scene, SPEC)
    np.testing.assert_array_equal(again.background.pixels, pair.background.pixels)
    other = make_pair(scene, replace(SPEC, seed=9))
    assert np.abs(other.background.pixels - pair.background.pixels).max() > 0.005


def test_two_depths_get_discs_in_proportion(scene: Scene) -> None:
    deep = SCENES["boughs_at_two_depths"](0, (120, 80))
    near, far = (
        SPEC.cameras(deep)[0].blur_disc_px["boughs-2"],
        SPEC.cameras(deep)[0].blur_disc_px["boughs-1"],
    )
    assert near == 40
    assert far == pytest.approx(40 * (1 / 3.4 - 1 / 6) / (1 / 2.2 - 1 / 6))
    assert scene.anchor.role == "sitter"


def test_parallax_without_foreground_is_refused(scene: Scene) -> None:
    bare = Scene(scene.layers[:2], scene.size, scene.margin_px, "bare")
    with pytest.raises(InputError, match="parallax_px needs a layer nearer"):
        SPEC.cameras(bare)


def test_tone_curve_breaks_the_single_gain(scene: Scene) -> None:
    """A rendered file: the ratio of the frames then depends on tone."""
    spec = replace(SPEC, tone_curve=True, gain=1.3, falloff_ev=(0.0, 0.0), iso=(100, 100))
    frames = make_pair(scene, spec)
    still = frames.truth.sitter > 0.99
    flags = cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP
    back = cv2.warpAffine(frames.foreground.pixels, frames.truth.warp[:2], SIZE, flags=flags)
    tone, other = frames.background.pixels[still].ravel(), back[still].ravel()
    dark, light = (tone > 0.02) & (tone < 0.06), (tone > 0.2) & (tone < 0.5)
    ratios = [np.median(other[part] / tone[part]) for part in (dark, light)]
    assert abs(ratios[0] / ratios[1] - 1) > 0.03


def test_the_warp_is_free_of_the_aperture(scene: Scene) -> None:
    _, narrow = SPEC.cameras(scene)
    wide_open = replace(narrow, f_number=2.8)
    np.testing.assert_array_equal(warp_between(scene, narrow), warp_between(scene, wide_open))
