"""Light: known differences of light between two frames are found and undone."""

from dataclasses import replace

import numpy as np
import pytest

from blendkit.alignment import Light
from blendkit.alignment.cells import radial_terms
from blendkit.alignment.light_notes import light_notes
from blendkit.alignment.photometric import fit_light
from blendkit.alignment.relight import apply_light
from blendkit.filters.bands import gaussian
from blendkit.frame import Capture, Float, Frame
from blendkit.settings import LightSettings

SHAPE = (400, 600)
SETTINGS = LightSettings()


@pytest.fixture(scope="module")
def scene() -> Float:
    """Return soft patches of all tones from 0.01 to 0.8, float32 (400, 600, 3)."""
    rng = np.random.default_rng(5)
    tone = rng.uniform(np.log2(0.012), np.log2(0.8), (8, 12))
    logs = np.repeat(np.repeat(tone, 50, axis=0), 50, axis=1).astype(np.float32)
    tint = np.array([1.1, 1.0, 0.85], np.float32)
    return (np.exp2(gaussian(logs, 6.0))[..., None] * tint).astype(np.float32)


def _fit(here: Float, there: Float, settings: LightSettings = SETTINGS) -> Light:
    usable = (here.max(axis=2) < 0.995) & (there.max(axis=2) < 0.995)
    return fit_light(Frame(here), there, usable, settings)


def _left_ev(here: Float, there: Float, light: Light) -> Float:
    return np.log2(np.maximum(apply_light(there, light), 1e-4)) - np.log2(here)


@pytest.mark.parametrize("gain_ev", [-2.0, -0.4, 0.0, 1.5])
@pytest.mark.parametrize("falloff_ev", [0.0, 1.2, 2.5])
def test_gain_and_falloff(scene: Float, gain_ev: float, falloff_ev: float) -> None:
    r2 = radial_terms(SHAPE)[..., 0]
    here = scene * np.exp2(-falloff_ev * (0.6 * r2 + 0.4 * r2**2))[..., None]
    rng = np.random.default_rng(2)
    there = np.clip(scene * 2.0**-gain_ev + rng.normal(0, 0.003, scene.shape), 0, 1)
    light = _fit(here.astype(np.float32), there.astype(np.float32))
    assert np.abs(np.array(light.gain_ev) - gain_ev).max() < 0.01
    assert abs(light.falloff_ev_corner + falloff_ev) < 0.03
    assert light.tone == "linear"
    assert 0 < light.residual_ev < 0.02


def test_white_balance_differs(scene: Float) -> None:
    light = _fit(scene, scene * np.float32([0.7, 1.0, 1.25]))
    wanted = -np.log2([0.7, 1.0, 1.25])
    assert np.abs(np.array(light.gain_ev) - wanted).max() < 0.01
    assert "white balance differs by 0.84 EV" in light.notes[0]


def test_clipped_sky_does_not_count(scene: Float) -> None:
    here, there = np.minimum(scene * 2.0, 1), np.minimum(scene * 1.2, 1)
    light = _fit(here.astype(np.float32), there.astype(np.float32))
    assert np.abs(np.array(light.gain_ev) - np.log2(2 / 1.2)).max() < 0.01


def test_a_moved_bough_does_not_count(scene: Float) -> None:
    there = scene.copy()
    there[:, 100:190] = 0.02
    light = _fit(scene, there)
    assert np.abs(light.gain_ev).max() < 0.01


def test_cloud_shadow_is_reported_and_left(scene: Float) -> None:
    across = 1 / (1 + np.exp(-(np.arange(600) - 380) / 60))
    there = (scene * np.exp2(-0.6 * across)[None, :, None]).astype(np.float32)
    light = _fit(scene, there)
    assert 0.3 < light.local_range_ev < 0.9
    assert any("as from a cloud or a lamp: it was left" in note for note in light.notes)
    assert not light.local_ev
    followed = _fit(scene, there, replace(SETTINGS, follow_local=True))
    before, after = (np.abs(_left_ev(scene, there, x)).mean() for x in (light, followed))
    assert after < 0.4 * before


@pytest.mark.parametrize("ramp_ev", [0.5, 1.0])
def test_a_light_from_one_side_is_followed_beside_gain_and_falloff(
    scene: Float, ramp_ev: float
) -> None:
    """One after the other, each takes a part of what is the other's: 2.5 EV off at the corners."""
    across = np.linspace(-0.5, 0.5, 600)[None, :]
    here_ev = -ramp_ev * across - 1.0 * radial_terms(SHAPE)[..., 0]
    here = (scene * np.exp2(here_ev)[..., None]).astype(np.float32)
    light = _fit(here, scene, replace(SETTINGS, follow_local=True))
    assert light.falloff_ev_corner == pytest.approx(-1.0, abs=0.05)
    assert light.local_range_ev == pytest.approx(ramp_ev, abs=0.05)
    assert np.abs(_left_ev(here, scene, light)).max() < 0.05
    assert 0 <= light.residual_ev < 0.01


def test_flare_in_one_frame(scene: Float) -> None:
    there = (scene * 0.8 + 0.008).astype(np.float32)
    light = _fit(scene, there)
    assert np.abs(np.array(light.flare) - 0.008).max() < 0.0015
    assert light.tone == "linear"
    left = np.abs(_left_ev(scene, there, light))
    assert np.median(left) < 0.01
    assert np.median(left[scene < 0.03]) < 0.05


def _toned(light: Float) -> Float:
    """Return light through an S-shaped tone curve that keeps 0 and 1 (our own choice)."""
    value = np.sqrt(np.clip(light, 0, 1))
    return ((value + 0.6 * value * (1 - value) * (2 * value - 0.85)) ** 2).astype(np.float32)


def test_rendered_pair(scene: Float) -> None:
    r2 = radial_terms(SHAPE)[..., 0]
    here = _toned(scene * np.exp2(-1.0 * r2)[..., None])
    there = _toned(scene * 0.7)
    light = _fit(here, there)
    assert light.tone == "curve"
    assert light.curve.contrast > 0.1
    left = _left_ev(here, there, light)
    usable = (here.min(axis=2) > 0.01) & (there.max(axis=2) < 0.9)
    tone = here.mean(axis=2)
    for low, high in ((0.01, 0.03), (0.03, 0.1), (0.1, 0.3), (0.3, 0.8)):
        part = usable & (tone > low) & (tone <= high)
        assert part.sum() > 500
        assert abs(float(np.median(left[part]))) < 0.02


def test_flash_in_one_frame_and_wrong_exposure_are_noted() -> None:
    light = Light((1.8, 1.8, 1.8), (0.0, 0.0, 0.0), 0.01)
    here = Capture(f_number=4.0, exposure_time_s=0.01, iso=100, flash_fired=False)
    there = replace(here, flash_fired=True)
    notes = light_notes(light, here, there)
    assert notes[0].startswith("flash fired in the foreground frame only")
    assert "differ by +1.8 EV, their recorded exposures by +0.0 EV" in notes[1]
    assert light_notes(replace(light, gain_ev=(0.3, 0.3, 0.3)), here, here) == ()
