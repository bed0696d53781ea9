"""A missed focus: flagged under a known disc, silent before a sharp sitter whatever she wears."""

from functools import cache

import cv2
import numpy as np
import pytest
from skimage import data

from blendkit.filters.bands import gaussian
from blendkit.filters.disc import disc_blur
from blendkit.frame import Bool, Float
from blendkit.midground import Flag
from blendkit.midground.focus import missed_focus
from blendkit.settings import ViewingSettings
from blendkit.sharpness.noise import NoiseModel
from blendkit.simulate.drawing.backgrounds import woods
from blendkit.simulate.drawing.canvas import unit_for
from blendkit.simulate.drawing.sitter import cellist

SIZE = (1200, 800)


@cache
def figure(seed: int) -> tuple[Float, Float, Float]:
    """Return a sitter's colour and coverage, and woods behind her, without lens and grain."""
    rng = np.random.default_rng(seed)
    unit = unit_for(SIZE)
    canvases = woods(SIZE, unit, rng), cellist(SIZE, unit, rng, centre=0.5)
    inner = (slice(canvases[0].margin_px, -canvases[0].margin_px),) * 2
    behind, her = (canvas.layer(6.0, "sitter", "x") for canvas in canvases)
    return her.color[inner], her.coverage[inner], behind.color[inner]


def taken(seed: int, disc_px: float, iso: float, *, plain: bool = False) -> tuple[Float, Bool]:
    """Return her under a disc before soft woods, with grain, and where she is.

    plain: skin and dress without any texture, so that her outline is all there is.
    """
    color, coverage, behind = figure(seed)
    if plain:
        color = gaussian(color, 25.0)
    share = disc_blur(coverage, disc_px)[..., None]
    light = disc_blur(color * coverage[..., None], disc_px)
    light = light + (1 - share) * disc_blur(behind, 40.0)
    model = grain_of(iso)
    noise = np.random.default_rng(seed).standard_normal(light.shape)
    return np.asarray(light + noise * model.sigma(light), np.float32), coverage > 0.5


def grain_of(iso: float) -> NoiseModel:
    slope, floor = 2.2e-7 * iso, 4e-9 * iso
    return NoiseModel((slope,) * 3, (floor,) * 3)


def flags(discs_px: tuple[float, float], seed: int, iso: float, *, plain: bool) -> list[Flag]:
    (background, her), (other, _) = (taken(seed, d, iso, plain=plain) for d in discs_px)
    sigma = grain_of(iso).sigma
    frames = background, other
    return list(missed_focus(frames, (sigma, sigma), her, ViewingSettings(), "stopped.tif"))


@pytest.mark.parametrize("plain", [False, True])
@pytest.mark.parametrize("iso", [100, 1600])
@pytest.mark.parametrize("seed", [21])
def test_a_sharp_sitter_is_left_alone(seed: int, iso: float, *, plain: bool) -> None:
    assert flags((0.8, 1.5), seed, iso, plain=plain) == []


@cache
def brick_wall(disc_px: float) -> Float:
    """Return scikit-image's bricks all over the frame, out of focus."""
    tile = np.float32(data.brick()) / 255 * 0.6 + 0.02
    tile = np.vstack([np.hstack([tile, tile[:, ::-1]]), np.hstack([tile[::-1], tile[::-1, ::-1]])])
    wall = disc_blur(np.repeat(cv2.resize(tile, SIZE)[..., None], 3, axis=2), disc_px)
    noise = np.random.default_rng(1).standard_normal(wall.shape)
    return np.asarray(wall + noise * grain_of(100).sigma(wall), np.float32)


def test_specks_of_a_soft_wall_are_no_sitter_out_of_focus() -> None:
    wall, sigma = brick_wall(8.0), grain_of(100).sigma
    y, x = np.mgrid[:800, :1200]
    body = np.hypot((x - 600) / 200, (y - 400) / 300) < 1
    specks = (y % 200 < 60) & (x % 200 < 60)
    for zone, count in ((body, 1), (specks, 0)):
        found = missed_focus((wall, wall), (sigma, sigma), zone, ViewingSettings(), "f.tif")
        assert len(list(found)) == count


@pytest.mark.parametrize("plain", [False, True])
@pytest.mark.parametrize("iso", [100, 1600])
@pytest.mark.parametrize("disc_px", [5.0, 8.0])
def test_a_sitter_out_of_focus_is_flagged_with_her_disc(
    disc_px: float, iso: float, *, plain: bool
) -> None:
    (flag,) = flags((disc_px, 1.0), 23, iso, plain=plain)
    assert flag.severity == "fail"
    assert "only stopped.tif holds her sharp" in flag.message
    said = float(flag.message.split("about ")[1].split(" px")[0])
    assert 0.7 * disc_px < said < 1.25 * disc_px


def test_what_neither_frame_holds_says_so() -> None:
    (flag,) = flags((5.0, 9.0), 24, 400, plain=False)
    assert "stopped.tif does not hold her either" in flag.message


def test_too_small_a_zone_says_nothing() -> None:
    background, her = taken(23, 8.0, 100)
    few = np.zeros_like(her)
    few[300:330, 590:620] = True
    sigma = grain_of(100).sigma
    found = missed_focus((background, background), (sigma, sigma), few, ViewingSettings(), "x")
    assert list(found) == []
