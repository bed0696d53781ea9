"""Advice checked by tracing rays: frames as advised hold all that is wanted, one fewer does not."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from blendkit.plan import Exposure, Plan, Scene, make_plan

ORCHARD = Scene(
    focal_length_mm=135, wide_f_number=2, foreground_at_m=2.2, subject_at_m=4, background_at_m=14
)


def traced_disc_mm(depths_m: np.ndarray, focal_mm: float, frame: Exposure) -> np.ndarray:
    """Spread on the sensor of the two rays through the aperture's edges, for each depth."""
    exact = 2 ** (round(6 * math.log2(frame.f_number)) / 6)
    edges = np.array([-0.5, 0.5]) * focal_mm / exact
    sensor_mm = 1 / (1 / focal_mm - 1 / (1000 * frame.focus_distance_m))
    slopes = edges / (1000 * depths_m[:, None]) - edges / focal_mm
    return np.asarray(np.ptp(edges + slopes * sensor_mm, axis=1))


def worst_disc_mm(plan: Plan, frames: list[Exposure]) -> float:
    """Largest disc, over a dense range of depths, of the sharpest of the frames."""
    depths = 1 / np.linspace(1 / plan.wanted.near_m, 1 / plan.wanted.far_m, 6001)
    focal_mm = plan.scene.focal_length_mm
    sharpest = np.min([traced_disc_mm(depths, focal_mm, frame) for frame in frames], axis=0)
    return float(sharpest.max())


def test_the_orchard_bracket_and_none_of_its_frames_to_spare() -> None:
    plan = make_plan(ORCHARD)
    coc = plan.scene.circle_of_confusion_mm
    bracket = list(plan.bracket)
    assert len(bracket) == 5
    assert worst_disc_mm(plan, bracket) <= coc * (1 + 1e-9)
    for index in range(len(bracket)):
        assert worst_disc_mm(plan, bracket[:index] + bracket[index + 1 :]) > coc


def test_the_advised_pair_with_its_bridges_leaves_nothing_soft() -> None:
    plan = make_plan(ORCHARD)
    coc = plan.scene.circle_of_confusion_mm
    bridges = [frame for bridge in plan.bridges for frame in bridge.frames]
    pair = [frame.exposure for frame in plan.advised]
    assert worst_disc_mm(plan, pair + bridges) <= coc * (1 + 1e-9)
    assert worst_disc_mm(plan, pair) == pytest.approx(plan.bridges[0].worst_disc_mm, rel=0.01)
    for index in range(len(bridges)):
        assert worst_disc_mm(plan, pair + bridges[:index] + bridges[index + 1 :]) > coc


@settings(max_examples=60, deadline=None)
@given(
    focal=st.sampled_from([50, 85, 135, 200, 300]),
    wide=st.sampled_from([1.4, 2.0, 2.8, 4.0]),
    near=st.floats(1.2, 20),
    ratio=st.floats(1.03, 8),
)
def test_any_bracket_is_as_advised_enough_and_not_with_one_frame_fewer(
    focal: float, wide: float, near: float, ratio: float
) -> None:
    plan = make_plan(
        Scene(
            focal_length_mm=focal,
            wide_f_number=wide,
            foreground_at_m=near,
            subject_at_m=near * ratio,
        )
    )
    coc, bracket = plan.scene.circle_of_confusion_mm, list(plan.bracket)
    assert worst_disc_mm(plan, bracket) <= coc * (1 + 1e-8)
    if len(bracket) > 1:
        for index in {0, len(bracket) // 2, len(bracket) - 1}:
            assert worst_disc_mm(plan, bracket[:index] + bracket[index + 1 :]) > coc
    held = [frame.exposure for frame in plan.advised]
    held += [frame for bridge in plan.bridges for frame in bridge.frames]
    assert worst_disc_mm(plan, held) <= coc * (1 + 1e-8)


def test_a_closing_bridge_frame_closes_the_gap() -> None:
    """A focus pair whose gap one frame at a larger f-number closes."""
    scene = Scene(
        focal_length_mm=85,
        wide_f_number=5.6,
        stopped_f_number=5.6,
        focus_stopped_m=4,
        focus_wide_m=12,
        subject_at_m=7,
    )
    plan = make_plan(scene)
    (bridge,) = plan.bridges
    frames = [frame.exposure for frame in plan.advised]
    (closing,) = bridge.frames
    assert 5.6 < closing.f_number <= 22
    closed = [*frames, closing]
    assert worst_disc_mm(plan, frames) > scene.circle_of_confusion_mm
    assert worst_disc_mm(plan, closed) <= scene.circle_of_confusion_mm
