"""The third look: a twig that the second look left half is settled, and nothing else is made up."""

from dataclasses import replace

import cv2
import numpy as np
import pytest

from blendkit.filters.bands import gaussian
from blendkit.filters.disc import disc_blur
from blendkit.filters.resample import enlarge, reduce_by
from blendkit.filters.tiles import whole
from blendkit.frame import Bool, Float
from blendkit.masks.third_look import PLANES, Seen, carried_over, opened, third_look, third_planes

SHAPE = (320, 480)
GRAIN = 0.004
BARK = (0.05, 0.04, 0.03)


def twigs(seed: int) -> Float:
    rng = np.random.default_rng(seed)
    drawn = np.zeros(SHAPE, np.uint8)
    for _ in range(16):
        ends = [(int(rng.integers(0, SHAPE[1])), int(rng.integers(0, SHAPE[0]))) for _ in range(2)]
        cv2.line(drawn, *ends, 255, int(rng.integers(1, 5)), cv2.LINE_AA)
    return np.float32(drawn / 255)


def patches(seed: int) -> Float:
    """Return 1 in half of the picture, in soft patches."""
    rough = gaussian(np.random.default_rng(seed).uniform(0, 1, SHAPE).astype(np.float32), 12)
    return np.asarray(gaussian((rough > np.median(rough)).astype(np.float32), 1.5), np.float32)


def seen_over_trees(seed: int, matte: Float, kept: Float, chance: Float) -> Seen:
    """Return dark twigs over something busy, all proposed, some kept."""
    rng = np.random.default_rng(seed)
    rough = gaussian(rng.uniform(0, 1, (*SHAPE, 3)).astype(np.float32), 3)
    trees = np.clip(0.25 + 1.6 * (rough - 0.5), 0.05, 1).astype(np.float32)
    bark = np.full((*SHAPE, 3), BARK, np.float32)
    sharp = matte[..., None] * bark + (1 - matte[..., None]) * trees
    sharp += rng.normal(0, GRAIN, sharp.shape).astype(np.float32)
    coverage, flat = np.asarray(disc_blur(kept, 60), np.float32), np.full(SHAPE, 20, np.float32)
    return Seen(sharp, disc_blur(trees, 20), bark, kept, matte, chance, coverage, flat)


def everywhere() -> Bool:
    return np.ones(SHAPE, np.bool_)


def half_kept(seed: int, share: float) -> tuple[Float, Float, Seen]:
    """Return twigs, the patches where only a share of them was kept, and what is seen."""
    matte, doubted = twigs(seed), patches(seed + 1)
    kept = np.asarray(matte * (1 - (1 - share) * doubted), np.float32)
    chance = np.asarray((0.3 + 0.5 * share) * doubted + 0.9 * (1 - doubted), np.float32)
    return matte, doubted, seen_over_trees(seed, matte, kept, chance)


@pytest.mark.parametrize("seed", [1, 2, 3])
@pytest.mark.parametrize("share", [0.3, 0.5])
def test_a_twig_that_was_left_half_is_settled(seed: int, share: float) -> None:
    matte, doubted, seen = half_kept(seed, share)
    better = third_look(seen, everywhere(), GRAIN)
    there = (matte > 0.9) & (doubted > 0.9)
    assert float(better[there].mean()) > share + 0.12
    error, before = (float(np.abs(m - matte).mean()) for m in (better, seen.kept))
    assert error < 0.8 * before


def test_the_plate_hardly_moves_the_answer() -> None:
    """As the module says; a network that leans on it would be worth a new description."""
    matte, doubted, seen = half_kept(4, 0.3)
    there = (matte > 0.9) & (doubted > 0.9)
    other = replace(seen, plate=disc_blur(seen.aligned, 20))
    one, two = (float(third_look(s, everywhere(), GRAIN)[there].mean()) for s in (seen, other))
    assert abs(one - two) < 0.1


def test_nothing_is_added_where_nothing_was_proposed() -> None:
    matte, _, seen = half_kept(5, 1.0)
    better = third_look(seen, everywhere(), GRAIN)
    clear = cv2.dilate(matte, np.ones((7, 7))) == 0
    assert clear.sum() > 10_000
    assert float(better[clear].max()) < 0.15
    assert float(better[matte == 1].mean()) > 0.95


def test_nothing_changes_where_it_must_not() -> None:
    _, _, seen = half_kept(6, 0.5)
    region = everywhere()
    region[:, :240] = False
    better = third_look(seen, region, GRAIN)
    kept = np.where(seen.kept < 0.02, 0, seen.kept)
    np.testing.assert_array_equal(better[:, :240], kept[:, :240])
    assert float(np.abs(better - kept)[:, 240:].max()) > 0.1


def test_what_the_third_look_sees_has_no_units() -> None:
    """Twice the light in both frames is the same scene."""
    _, _, seen = half_kept(7, 0.5)
    lit = {name: 2 * getattr(seen, name) for name in ("aligned", "plate", "color")}
    open_ = opened(seen, everywhere())
    one, other = (
        third_planes(s, open_, whole(SHAPE), grain, scale)
        for s, grain, scale in ((seen, GRAIN, 1.0), (replace(seen, **lit), 2 * GRAIN, 0.5))
    )
    assert one.shape == (PLANES, *SHAPE)
    np.testing.assert_allclose(one, other, atol=1e-5)


def test_a_change_at_small_size_leaves_edges_where_they_were() -> None:
    """One disc is dropped, one stays to the pixel, a third is filled."""
    rows, columns = np.mgrid[:120, :360]
    discs = [
        np.asarray((columns - x) ** 2 + (rows - 60) ** 2 < 40**2, np.float32)
        for x in (60, 180, 300)
    ]
    alpha = discs[0] + discs[1] + 0.25 * discs[2]
    before = reduce_by(alpha, 4)
    after = carried_over(alpha, before, reduce_by(discs[1] + discs[2], 4), 4)
    assert float(after[:, :110].max()) < 0.01
    np.testing.assert_allclose(after[:, 130:230], alpha[:, 130:230], atol=1e-6)
    inner = (columns - 300) ** 2 + (rows - 60) ** 2 < 32**2
    assert float(after[inner].min()) > 0.99
    assert float(np.abs(after - discs[1] - discs[2]).mean()) < 0.02


def test_a_change_beside_a_tile_is_carried_over_its_rim() -> None:
    """Cells are interpolated, so the last px of one tile see the first cell of the next."""
    alpha = np.ones((64, 800), np.float32)
    before, after = np.ones((16, 200), np.float32), np.ones((16, 200), np.float32)
    after[:, 96:] = 0.5  # a tile ends at px 384
    found = carried_over(alpha, before, after, 4)
    np.testing.assert_allclose(found, enlarge(after, 4, (800, 64)), atol=1e-6)
