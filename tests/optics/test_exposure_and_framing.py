"""Marks, steps, standards of sharpness and framing: directions and limits."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from blendkit.errors import InputError
from blendkit.optics import (
    airy_disc_mm,
    covered_m,
    diffraction_f_number,
    effective_f_number,
    exact_f_number,
    exact_shutter_s,
    field_of_view_deg,
    loss_ev,
    marked_f_number_from,
    natural_falloff,
    pixel_pitch_mm,
    print_circle_of_confusion_mm,
    share_of_height,
    shrinking_f_number,
    steps_between,
)
from blendkit.optics.exposure import MARKED_F_NUMBERS, MARKED_SHUTTERS_S, marked_shutter_s


def test_all_marks_are_thirds_in_order() -> None:
    steps = np.diff([2 * math.log2(exact_f_number(mark)) for mark in MARKED_F_NUMBERS])
    assert steps == pytest.approx(1 / 3, abs=1e-9)
    times = np.diff([math.log2(exact_shutter_s(time)) for time in MARKED_SHUTTERS_S])
    assert times == pytest.approx(1 / 3, abs=1e-9)


@pytest.mark.parametrize("value", MARKED_SHUTTERS_S)
def test_a_displayed_shutter_time_is_near_its_exact_one(value: float) -> None:
    assert exact_shutter_s(value) == pytest.approx(value, rel=0.08)


def test_a_number_between_marks_is_taken_as_it_is() -> None:
    assert exact_f_number(2.83) == 2.83
    assert exact_shutter_s(1 / 128) == 1 / 128


@settings(deadline=None)
@given(st.floats(0.5, 60))
def test_the_next_mark_stops_down_at_least_so_far(exact: float) -> None:
    mark = marked_f_number_from(exact)
    assert mark is not None
    assert exact_f_number(mark) >= exact * (1 - 1e-8)
    assert steps_between(exact, exact_f_number(mark)) <= 1 / 3 + 1e-6


@settings(deadline=None)
@given(st.sampled_from([*MARKED_F_NUMBERS, 0.95, 1.7, 3.3, 6.7]), st.floats(1.0001, 8))
def test_smaller_discs_take_a_mark_past_the_f_number_itself(own: float, times: float) -> None:
    mark, least = shrinking_f_number(own, times), exact_f_number(own) * times
    if mark is None:
        assert least > exact_f_number(22) * 0.995
        return
    assert mark in MARKED_F_NUMBERS
    assert mark <= 22
    assert exact_f_number(mark) >= 0.995 * least
    assert exact_f_number(mark) > exact_f_number(own)


def test_effective_f_number_counts_the_pupil() -> None:
    assert effective_f_number(8, magnification=0.5) == 12
    assert effective_f_number(8, magnification=0.5, pupil=0.5) == 16


def test_diffraction_f_number_is_the_inverse_of_the_airy_disc() -> None:
    limit = diffraction_f_number(0.0288, magnification=0.1, pupil=0.8)
    assert airy_disc_mm(limit, magnification=0.1, pupil=0.8) == pytest.approx(0.0288, rel=1e-12)


def test_a_print_seen_from_twice_as_far_may_be_twice_as_soft() -> None:
    def disc(viewing_cm: float) -> float:
        return print_circle_of_confusion_mm((36, 24), print_cm=(40, 60), viewing_cm=viewing_cm)

    assert disc(100) == pytest.approx(2 * disc(50), rel=1e-12)


def test_a_square_print_crops_the_frame() -> None:
    square = print_circle_of_confusion_mm((36, 24), print_cm=(40, 40), viewing_cm=50)
    whole = print_circle_of_confusion_mm((36, 24), print_cm=(60, 40), viewing_cm=50)
    assert square == pytest.approx(whole, rel=1e-12)


def test_pixel_pitch_of_a_crop_is_that_of_the_sensor() -> None:
    assert pixel_pitch_mm((36, 24), (6000, 4000)) == pytest.approx(0.006)
    assert pixel_pitch_mm((36, 24), (4000, 5000)) == pytest.approx(0.006)


def test_share_of_height() -> None:
    assert share_of_height([2.4, 0.24], (36, 24)) == pytest.approx([0.1, 0.01])


def test_frame_covers_sensor_over_magnification_and_all_of_infinity() -> None:
    covered = covered_m([4, np.inf], side_mm=36, focal_length_mm=135, focus_distance_m=4)
    assert covered[0] == pytest.approx(0.036 * (4000 - 135) / 135, rel=1e-12)
    assert covered[1] == np.inf


def test_field_of_view_narrows_close_up() -> None:
    angles = field_of_view_deg(36, focal_length_mm=100, magnification=np.array([0, 0.1, 1]))
    assert (np.diff(angles) < 0).all()


def test_falloff_is_the_fourth_power_of_the_cosine() -> None:
    angle = math.atan(21.6 / 50)
    assert natural_falloff(21.6, focal_length_mm=50) == pytest.approx(math.cos(angle) ** 4)


@pytest.mark.parametrize("lost", [1.0, 1.5, float("nan")])
def test_all_light_lost_is_no_number_of_steps(lost: float) -> None:
    with pytest.raises(InputError, match="light left"):
        loss_ev(lost)


def test_beyond_all_marks_a_time_is_shown_as_it_is() -> None:
    assert marked_shutter_s(1 / 32768) == 1 / 32000
    assert marked_shutter_s(1 / 100_000) == 1 / 100_000
    assert exact_shutter_s(1 / 32000) == 2.0**-15
