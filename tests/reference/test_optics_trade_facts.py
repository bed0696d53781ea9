"""What every portrait photographer knows (common practice, no source), as numbers."""

import numpy as np
import pytest

from blendkit.optics import (
    blur_disc_mm,
    circle_of_confusion_mm,
    covered_m,
    depth_of_field,
    magnification,
    object_distance_m,
)

COC_MM = circle_of_confusion_mm((36, 24))


def test_near_eye_sharp_far_eye_not() -> None:
    """135 mm f/2 close up, the head turned so that the eyes are 5 cm apart in depth."""
    near, far = depth_of_field(1.5, focal_length_mm=135, f_number=2, coc_mm=COC_MM)
    assert near < 1.5 < far < 1.55


def test_opening_two_steps_doubles_every_disc() -> None:
    distances = np.array([0.5, 1.0, 2.9, 3.1, 10, np.inf])
    discs = blur_disc_mm(
        distances, focal_length_mm=85, f_number=np.array([[2.0], [4.0]]), focus_distance_m=3
    )
    assert discs[0] == pytest.approx(2 * discs[1], rel=1e-12)


def test_crop_from_a_shorter_lens_has_the_sharper_background() -> None:
    """Same place, same f-number, same framing: as a share of the framed height."""
    long = blur_disc_mm(20, focal_length_mm=135, f_number=2.8, focus_distance_m=4)
    short = blur_disc_mm(20, focal_length_mm=85, f_number=2.8, focus_distance_m=4)
    enlargement = magnification(4, focal_length_mm=135) / magnification(4, focal_length_mm=85)
    assert short * enlargement < 0.7 * long


def test_longer_lens_shows_a_narrower_strip_of_background() -> None:
    """Same size of the sitter, same distance from sitter to background."""
    strips = []
    for focal_mm in (50, 85, 135, 200):
        subject_m = object_distance_m(0.04, focal_length_mm=focal_mm)
        strip = covered_m(
            subject_m + 10, side_mm=36, focal_length_mm=focal_mm, focus_distance_m=subject_m
        )
        strips.append(float(strip))
    assert strips == sorted(strips, reverse=True)
    assert strips[0] > 2 * strips[-1]


def test_stopping_down_brings_a_busy_background_back() -> None:
    """135 mm at 4 m: trees at 14 m melt at f/2; at f/16 twigs of 1 cm keep their shape."""
    wide, stopped = blur_disc_mm(14, focal_length_mm=135, f_number=[2, 16], focus_distance_m=4)
    strip_m = covered_m(14, side_mm=36, focal_length_mm=135, focus_distance_m=4)
    twig_mm = 0.01 * 36 / float(strip_m)
    assert wide > 10 * twig_mm
    assert stopped < 2.5 * twig_mm


def test_near_and_far_frame_leave_a_soft_middle_that_stopping_down_does_not() -> None:
    """100 mm: frames at f/2.8 on 5 m and 20 m miss 8 m, one frame at f/16 holds much more."""
    wide = blur_disc_mm(8, focal_length_mm=100, f_number=2.8, focus_distance_m=np.array([5, 20]))
    assert wide.min() > 3 * COC_MM
    stopped = blur_disc_mm(8, focal_length_mm=100, f_number=16, focus_distance_m=8)
    assert stopped < COC_MM
    near, far = depth_of_field(8, focal_length_mm=100, f_number=16, coc_mm=COC_MM)
    assert near < 6.5
    assert far > 10.5


def test_stopping_down_alone_does_not_make_a_near_bough_sharp() -> None:
    disc = blur_disc_mm(2.5, focal_length_mm=135, f_number=16, focus_distance_m=5)
    assert disc == pytest.approx(0.23, abs=0.005)
    assert disc > 5 * COC_MM
