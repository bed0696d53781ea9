"""The tone curve's family, and what a fit takes pairs for whose curves are not of the family."""

from collections.abc import Callable

import numpy as np
import pytest

from blendkit.alignment.cells import radial_terms
from blendkit.alignment.photometric import fit_light
from blendkit.alignment.relight import apply_light
from blendkit.alignment.tone import ToneCurve, rendered, steepness, straightened
from blendkit.frame import Float, Frame
from blendkit.settings import LightSettings

Rendering = Callable[[Float], Float]
SHAPE = (400, 600)


def _cubic(strength: float, middle: float) -> Rendering:
    """Return a cubic S-curve in square roots of light (our own choice)."""

    def render(light: Float) -> Float:
        value = np.sqrt(light)
        return np.square(value + strength * value * (1 - value) * (2 * value - middle))

    return render


def _film_like(light: Float) -> Float:
    """Return light through a rational curve with toe and shoulder, 1 at white (our own choice)."""

    def bent(x: Float) -> Float:
        return x * (2.5 * x + 0.03) / (x * (2.4 * x + 0.6) + 0.14)

    return bent(0.6 * light) / bent(np.ones(1, np.float32) * 0.6)


def _lifted(light: Float) -> Float:
    """Return light with middle tones lifted and no toe (our own choice)."""
    return 1.8 * light / (1 + 0.8 * light)


CURVES = {
    "S": _cubic(0.6, 0.85),
    "mild S": _cubic(0.3, 0.85),
    "lifted S": _cubic(0.5, 0.5),
    "film-like": _film_like,
    "lifted": _lifted,
}


def _pair(seed: int, gain: float, corner_ev: float) -> tuple[Float, Float]:
    """Return soft patches of many tones in two frames' linear light, with a little noise."""
    rng = np.random.default_rng(seed)
    logs = rng.uniform(np.log2(0.012), np.log2(0.75), (8, 12))
    tint = rng.uniform(0.7, 1.3, (8, 12, 3))
    patches = (np.exp2(logs)[..., None] * tint).astype(np.float32)
    scene = np.repeat(np.repeat(patches, 50, axis=0), 50, axis=1)
    dimming = np.exp2(-corner_ev * radial_terms(SHAPE)[..., 0])[..., None]
    frames = [scene * dimming, scene * np.float32(gain)]
    noisy = [
        f + 0.01 * np.sqrt(f) * rng.standard_normal(f.shape).astype(np.float32) for f in frames
    ]
    return np.clip(noisy[0], 0, 1), np.clip(noisy[1], 0, 1)


def _fit_and_left(here: Float, there: Float, wanted: Float) -> tuple[str, float, float]:
    """Return what the pair was taken for, and the median and worst tone's EV left."""
    usable = (here.max(axis=2) < 0.99) & (there.max(axis=2) < 0.99)
    light = fit_light(Frame(here), there, usable, LightSettings())
    left = np.log2(np.maximum(apply_light(there, light), 1e-4) / np.maximum(wanted, 1e-4))
    tones = [(0.02, 0.06), (0.06, 0.18), (0.18, 0.4), (0.4, 0.8)]
    parts = [left[(wanted > low) & (wanted < high) & (there < 0.95)] for low, high in tones]
    worst = max(abs(float(np.median(part))) for part in parts)
    return light.tone, float(np.median(np.abs(left[(wanted > 0.02) & (wanted < 0.9)]))), worst


@pytest.mark.parametrize("name", CURVES)
@pytest.mark.parametrize(("gain", "corner_ev"), [(0.75, 1.2), (1.15, 1.6)])
def test_light_is_matched_through_curves_of_other_kinds(
    name: str, gain: float, corner_ev: float
) -> None:
    here, there = _pair(len(name), gain, corner_ev)
    dimming = np.exp2(-corner_ev * radial_terms(SHAPE)[..., 0])[..., None]
    render = CURVES[name]
    wanted = render(np.clip(there * dimming / gain, 0, 1))
    tone, left, worst = _fit_and_left(render(here), render(there), wanted)
    assert tone == "curve"
    # Not nothing: none of these curves is of the family.
    assert 1e-4 < left < 0.02
    assert worst < 0.035


@pytest.mark.parametrize("seed", range(4))
@pytest.mark.parametrize(("gain", "corner_ev"), [(0.75, 1.2), (1.0, 0.0), (1.25, 0.4)])
def test_a_linear_pair_gets_no_curve(seed: int, gain: float, corner_ev: float) -> None:
    here, there = _pair(100 + seed, gain, corner_ev)
    dimming = np.exp2(-corner_ev * radial_terms(SHAPE)[..., 0])[..., None]
    tone, left, worst = _fit_and_left(here, there, there * dimming / np.float32(gain))
    assert tone == "linear"
    assert left < 0.01
    assert worst < 0.01


def test_the_family_is_undone_by_its_inverse() -> None:
    values = np.concatenate([[0.0], np.geomspace(1e-5, 0.99, 200), [1.0, 1.7]])
    for curve in (ToneCurve(0.3, 0.1), ToneCurve(-0.2, 0.9), ToneCurve(1.0, -0.5)):
        back = rendered(straightened(values, curve), curve)
        assert np.abs(back - values).max() < 1e-6
        assert (np.diff(straightened(values, curve)) > 0).all()


def test_steepness_is_the_slope_in_ev() -> None:
    values = np.geomspace(0.003, 0.97, 50)
    for curve in (ToneCurve(0.3, 0.1), ToneCurve(-0.2, 0.9)):
        steps = [straightened(values * (1 + e), curve) for e in (-1e-4, 1e-4)]
        slope = np.log(steps[1] / steps[0]) / np.log((1 + 1e-4) / (1 - 1e-4))
        assert np.allclose(steepness(values, curve), slope, rtol=1e-3)
