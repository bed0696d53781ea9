"""Bright points behind: found by their discs, taken out, and given back the light they lost."""

import cv2
import numpy as np
import pytest

from blendkit.filters.disc import disc_kernel
from blendkit.filters.patches import patched
from blendkit.filters.tiles import whole
from blendkit.frame import Float
from blendkit.masks.light_search import find_lights

SIZE = (300, 420)
DISC_PX = 22.0


def _ground(seed: int, brightest: float) -> Float:
    """Return leaves of all sizes on dark ground, float32 (height, width, 3)."""
    rng = np.random.default_rng(seed)
    ground = np.full((*SIZE, 3), 0.05, np.float32)
    for _ in range(900):
        centre = int(rng.uniform(0, SIZE[1])), int(rng.uniform(0, SIZE[0]))
        axes = int(rng.uniform(2, 8)), int(rng.uniform(1, 5))
        light = rng.uniform(0.03, brightest)
        colour = (0.6 * light, light, 0.3 * light)
        cv2.ellipse(ground, centre, axes, rng.uniform(0, 180), 0, 360, colour, cv2.FILLED)
    return ground


def _spread(light: Float) -> Float:
    """Return light as a disc of DISC_PX spreads it, by a filter of OpenCV's own."""
    return cv2.filter2D(light, -1, disc_kernel(DISC_PX), borderType=cv2.BORDER_REPLICATE)


def _pair(
    seed: int, lamps: list[tuple[int, int, float, float]], *, brightest: float = 0.3
) -> tuple[Float, Float, Float]:
    """Return soft and sharp frame, clipped at 1, and the ground; lamps: x, y, radius, light."""
    rng = np.random.default_rng(seed)
    ground = _ground(seed, brightest)
    true = ground.copy()
    for x, y, radius, light in lamps:
        rows, columns = np.ogrid[: SIZE[0], : SIZE[1]]
        share = np.clip(radius + 0.5 - np.hypot(columns - x, rows - y), 0, 1)[..., None]
        true = np.asarray(true * (1 - share) + share * np.float32(light), np.float32)
    noise = [0.003 * rng.standard_normal(true.shape).astype(np.float32) for _ in range(2)]
    soft = np.clip(_spread(true) + noise[0], 0, 1)
    return soft, np.clip(true + noise[1], 0, 1), ground


def _found(soft: Float, sharp: Float) -> tuple[list[tuple[float, float]], Float, Float, Float]:
    softness = np.full(SIZE, DISC_PX * 0.93, np.float32)
    lights = find_lights(soft, sharp, softness, (sharp >= 1).any(axis=2))
    centres = [point.dot.centre for point in lights.points]
    with lights.dots_out(sharp):
        dotless = sharp.copy()
    restored = patched(sharp, whole(SIZE), lights.missing(sharp))
    return centres, lights.discs_out(soft), dotless, restored


LAMPS = [(60, 60, 3.0, 9.0), (150, 90, 2.5, 14.0), (250, 70, 4.0, 5.0), (340, 120, 3.0, 8.0)]
LAMPS += [(80, 200, 3.5, 10.0), (180, 230, 2.5, 20.0), (300, 220, 3.0, 7.0), (322, 226, 2.5, 9.0)]


@pytest.mark.parametrize("seed", range(3))
def test_lamps_are_found_and_taken_out(seed: int) -> None:
    soft, sharp, ground = _pair(seed, LAMPS)
    centres, without, dotless, restored = _found(soft, sharp)
    for x, y, _, _ in LAMPS:
        assert min(np.hypot(x - a, y - b) for a, b in centres) < 1.5
    assert len(centres) <= len(LAMPS) + 1
    lit = _spread(np.asarray(sharp - dotless, np.float32)).max(axis=2) > 0.02
    before, after = (
        float(np.abs(frame - _spread(ground))[lit].mean()) for frame in (soft, without)
    )
    assert before > 0.1
    assert 0.0005 < after < 0.06 * before
    # The dots hold again what their discs show.
    here = np.abs(_spread(np.minimum(restored, 100)) - soft)[lit & (soft.max(axis=2) < 0.99)]
    there = np.abs(_spread(sharp) - soft)[lit & (soft.max(axis=2) < 0.99)]
    assert here.mean() < 0.35 * there.mean()


@pytest.mark.parametrize("seed", range(3, 6))
def test_leaves_in_the_sun_are_no_lamps(seed: int) -> None:
    soft, sharp, _ = _pair(seed, [])
    centres, without, dotless, restored = _found(soft, sharp)
    assert not centres
    assert without is soft
    assert np.array_equal(dotless, sharp)
    assert np.shares_memory(restored, sharp)


def test_a_lamp_before_bright_leaves_is_found() -> None:
    # Its disc adds hardly as much light as lies around it.
    soft, sharp, ground = _pair(11, [(120, 90, 3.0, 2.4), (300, 200, 3.0, 2.6)], brightest=0.9)
    around = float(np.median(_spread(ground)[..., 1]))
    assert soft[90, 120, 1] < 2.0 * around
    centres, *_ = _found(soft, sharp)
    for x, y in ((120, 90), (300, 200)):
        assert min(np.hypot(x - a, y - b) for a, b in centres) < 1.5
    assert len(centres) <= 4


@pytest.mark.parametrize("off_px", [(3.0, 0.0), (-2.0, 2.5)])
def test_a_disc_beside_its_dot_is_taken_out_where_it_lies(off_px: tuple[float, float]) -> None:
    # What stands behind is displaced by parallax.
    soft, sharp, _ = _pair(12, [(200, 150, 3.0, 12.0)])
    move = np.float64([[1, 0, off_px[0]], [0, 1, off_px[1]]])
    soft = cv2.warpAffine(soft, move, SIZE[::-1], borderMode=cv2.BORDER_REFLECT)
    softness = np.full(SIZE, DISC_PX * 0.93, np.float32)
    (point,) = find_lights(soft, sharp, softness, (sharp >= 1).any(axis=2)).points
    assert np.hypot(*(np.subtract(point.centre, (200, 150)) - off_px)) < 1.5


def test_a_bright_spot_in_front_is_no_lamp() -> None:
    # A blossom in front leaves a wider, fainter disc than ground behind would.
    soft, sharp, _ = _pair(7, [])
    blossom = np.zeros((*SIZE, 3), np.float32)
    cv2.circle(blossom, (200, 150), 4, (0.9, 0.9, 0.9), cv2.FILLED)
    sharp = np.where(blossom > 0, blossom, sharp)
    soft = np.asarray(soft + cv2.filter2D(blossom, -1, disc_kernel(66.0)), np.float32)
    centres, *_ = _found(soft, sharp)
    assert not centres


def test_lamps_of_a_large_picture_are_found_at_reduced_size() -> None:
    soft, sharp, _ = _pair(1, LAMPS)
    wide, narrow = (
        cv2.resize(f, None, fx=8, fy=8, interpolation=cv2.INTER_CUBIC) for f in (soft, sharp)
    )
    softness = np.full(wide.shape[:2], 8 * DISC_PX * 0.93, np.float32)
    lights = find_lights(wide, narrow, softness, (narrow >= 1).any(axis=2))
    assert lights.factor == 7
    for x, y, _, _ in LAMPS:
        at = 8 / 7 * (x + 0.5) - 0.5, 8 / 7 * (y + 0.5) - 0.5
        assert min(np.hypot(*np.subtract(at, p.dot.centre)) for p in lights.points) < 1.5
    region = lights.discs(softness.shape)
    assert 0.025 < region.mean() < 0.06
    bare = lights.discs_out(wide)
    assert np.array_equal(bare[~region], wide[~region])
    assert bare[region].mean() < 0.5 * wide[region].mean()


def test_dots_are_put_back_even_when_the_work_fails() -> None:
    soft, sharp, _ = _pair(1, LAMPS)
    lights = find_lights(
        soft, sharp, np.full(SIZE, DISC_PX * 0.93, np.float32), (sharp >= 1).any(axis=2)
    )
    before = sharp.copy()
    with pytest.raises(KeyError, match="True"), lights.dots_out(sharp):
        raise KeyError(not np.array_equal(sharp, before))
    assert np.array_equal(sharp, before)
