"""A bracket covers its range with no point above the circle of confusion, and not with one less."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from blendkit.errors import InputError
from blendkit.optics import blur_disc_mm, focus_series, frames_needed


def sharpest_mm(
    depths_m: np.ndarray, focuses_m: tuple[float, ...], focal: float, f_number: float
) -> np.ndarray:
    """Return the smallest disc that any frame gives each depth."""
    discs = blur_disc_mm(
        depths_m[:, None],
        focal_length_mm=focal,
        f_number=f_number,
        focus_distance_m=np.array(focuses_m),
    )
    return np.asarray(discs.min(axis=1))


@settings(deadline=None)
@given(
    near=st.floats(0.8, 30),
    ratio=st.floats(1.02, 20),
    focal=st.floats(24, 400),
    f_number=st.floats(1.2, 22),
)
def test_a_bracket_holds_its_range_and_one_frame_fewer_does_not(
    near: float, ratio: float, focal: float, f_number: float
) -> None:
    far, coc = near * ratio, 0.0288
    lens = {"focal_length_mm": focal, "coc_mm": coc}
    count = frames_needed(near, far, f_number=f_number, **lens)
    depths = 1 / np.linspace(1 / near, 1 / far, 4001)
    series = focus_series(near, far, frames=count, **lens)
    assert sharpest_mm(depths, series.focus_distances_m, focal, f_number).max() <= coc * (1 + 1e-9)
    assert series.least_f_number <= f_number * (1 + 1e-9)
    if count > 1:
        fewer = focus_series(near, far, frames=count - 1, **lens)
        assert fewer.least_f_number > f_number
        left = sharpest_mm(depths, fewer.focus_distances_m, focal, f_number)
        assert left.max() > coc * 0.999


def test_no_other_placing_of_fewer_frames_does_better() -> None:
    """Four frames, moved about at random from the best spacing, never blur less at the worst."""
    random = np.random.default_rng(5)
    series = focus_series(2.2, 4, focal_length_mm=135, coc_mm=0.0288, frames=4)
    depths = 1 / np.linspace(1 / 2.2, 1 / 4, 2001)
    best = sharpest_mm(depths, series.focus_distances_m, 135, 16).max()
    for _ in range(200):
        moved = tuple(np.array(series.focus_distances_m) * random.normal(1, 0.01, 4))
        assert sharpest_mm(depths, moved, 135, 16).max() > best * 0.9999


def test_one_frame_from_half_the_hyperfocal_distance_to_infinity() -> None:
    near, f_number = 5.2334, 8.0
    assert frames_needed(near, np.inf, focal_length_mm=50, f_number=f_number, coc_mm=0.03) == 1
    series = focus_series(near, np.inf, focal_length_mm=50, coc_mm=0.03, frames=1)
    assert series.focus_distances_m[0] == pytest.approx(2 * near, rel=1e-9)
    assert series.least_f_number == pytest.approx(8, rel=1e-4)


def test_a_range_that_runs_backwards_is_refused() -> None:
    with pytest.raises(InputError, match="4 m to 2 m runs backwards"):
        frames_needed(4, 2, focal_length_mm=135, f_number=16, coc_mm=0.03)


def test_no_frames_is_refused() -> None:
    with pytest.raises(InputError, match="frames = 0"):
        focus_series(2, 4, focal_length_mm=135, coc_mm=0.03, frames=0)
