"""Light of a rendered pair against its exact tone curve, gain and fall-off."""

import numpy as np

from blendkit.alignment.photometric import fit_light
from blendkit.alignment.relight import apply_light
from blendkit.alignment.warp import warp_to_background
from blendkit.frame import Float
from blendkit.settings import LightSettings
from blendkit.simulate import scenes
from blendkit.simulate.pair import make_pair
from blendkit.simulate.sensor import falloff, toned
from blendkit.simulate.spec import PairSpec

SIZE = (600, 400)
SPEC = PairSpec(
    foreground_disc_px=(49.6, 1.1),
    background_disc_px=(17.0, 2.1),
    shift_px=(3.0, -4.0),
    gain=1.2,
    falloff_ev=(1.4, 0.1),
    iso=(100.0, 800.0),
    tone_curve=True,
    seed=32,
)


def _untoned(rendered: Float) -> Float:
    linear = np.linspace(0, 1, 20001, dtype=np.float32)
    return np.interp(rendered, toned(linear), linear).astype(np.float32)


def test_light_through_an_s_shaped_curve_comes_back() -> None:
    # One frame is blurred and the other is not: a mean of rendered values depends on the blur, and
    # a curve fitted to such means left 0.05 EV and more.
    pair = make_pair(scenes.thick_boughs(32, SIZE), SPEC)
    moved = warp_to_background(pair.foreground.pixels, pair.truth.warp, SIZE)
    clear = (pair.background.pixels.max(axis=2) < 0.995) & (moved.pixels.max(axis=2) < 0.995)
    usable = clear & moved.footprint & (pair.truth.matte < 0.02)
    light = fit_light(pair.background, moved.pixels, usable, LightSettings())
    assert light.tone == "curve"
    ratio = falloff(SIZE, SPEC.falloff_ev[0]) / falloff(SIZE, SPEC.falloff_ev[1])
    wanted = toned(_untoned(moved.pixels) * (ratio[..., None] / np.float32(1.2)))
    seen = moved.footprint[..., None] & (wanted > 0.006) & (wanted < 0.97) & (moved.pixels < 0.97)
    left = np.abs(np.log2(apply_light(moved.pixels, light)[seen] / wanted[seen]))
    assert 1e-4 < float(np.median(left)) < 0.02
