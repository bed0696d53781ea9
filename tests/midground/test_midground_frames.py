"""Flags of the frames: light, grain, what moved; and silence without cause."""

import numpy as np
import pytest
from skimage import data

from blendkit.filters.bands import gaussian
from blendkit.frame import Float
from blendkit.midground.frame_checks import (
    grain_step,
    light_step,
    moved_places,
)
from blendkit.midground.veil_left import veil_remains


@pytest.fixture(scope="module")
def wall() -> Float:
    """Return a gravel path with grain, float32 (400, 600, 3)."""
    grey = (data.gravel()[:400, :512].astype(np.float32) / 255) ** 2.2 * 0.5
    grey = np.hstack([grey, grey[:, :88]])
    rng = np.random.default_rng(3)
    noise = 0.001 * rng.standard_normal((400, 600, 3)).astype(np.float32)
    return np.asarray(np.repeat(grey[..., None], 3, axis=2) + noise, np.float32)


def seam() -> np.ndarray:
    edge = np.zeros((400, 600), np.bool_)
    edge[200:204] = True
    return edge


@pytest.mark.parametrize(
    ("ev", "severity"), [(0.05, None), (0.15, "note"), (-0.3, "warn"), (0.6, "fail")]
)
def test_a_step_of_light_is_as_loud_as_it_is_large(
    wall: Float, ev: float, severity: str | None
) -> None:
    found = list(light_step(wall, np.asarray(wall * 2.0**ev, np.float32), seam()))
    assert [flag.severity for flag in found] == ([severity] if severity else [])


def test_what_moved_is_found_where_it_is(wall: Float) -> None:
    other = wall.copy()
    other[150:300, 200:400] = np.roll(wall, (5, 4), (0, 1))[150:300, 200:400]
    usable = np.ones(wall.shape[:2], np.bool_)
    (flag,) = moved_places(wall, other, usable, 0.1)
    inside = np.zeros_like(usable)
    inside[150:300, 200:400] = True
    assert (flag.region & inside).sum() > 0.8 * flag.region.sum()
    assert "6 px" in flag.message
    assert list(moved_places(wall, wall, usable, 0.1)) == []


def test_grain_is_flagged_only_where_it_was_not_matched() -> None:
    alpha = np.zeros((40, 60), np.float32)
    alpha[:20] = 1
    assert [f.severity for f in grain_step((0.001, 0.004), alpha, matched=False)] == ["warn"]
    assert list(grain_step((0.001, 0.004), alpha, matched=True)) == []
    assert list(grain_step((0.001, 0.0012), alpha, matched=False)) == []


@pytest.mark.parametrize(("left", "severities"), [(0.0, []), (0.3, ["warn"]), (0.8, ["fail"])])
def test_a_veil_that_is_left_in_the_plate_is_flagged(left: float, severities: list[str]) -> None:
    rng = np.random.default_rng(4)
    coverage = np.zeros((400, 600), np.float32)
    for x in rng.integers(20, 580, 14):
        coverage[:, x - 12 : x + 12] = np.maximum(coverage[:, x - 12 : x + 12], 0.8)
    trees = gaussian(rng.uniform(0.2, 0.6, (400, 600, 3)).astype(np.float32), 12)
    plate = trees * (1 - left * coverage[..., None])
    touched = np.ones((400, 600), np.bool_)
    alpha = np.zeros((400, 600), np.float32)
    found = list(veil_remains(plate.__getitem__, coverage, alpha, touched))
    assert [flag.severity for flag in found] == severities
