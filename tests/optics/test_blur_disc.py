"""The blur disc against rays traced through the aperture, and its own identities."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from blendkit.errors import InputError
from blendkit.optics import blur_disc_mm, image_distance_mm, image_scale, shift_px_per_mm


def traced_spread_mm(
    distance_m: float, *, focal_mm: float, f_number: float, focus_m: float
) -> float:
    """Width on the sensor of a fan of rays: each bends by -y/f where it meets the lens at y."""
    heights = np.linspace(-0.5, 0.5, 101) * focal_mm / f_number
    slopes_in = heights / (distance_m * 1000) if np.isfinite(distance_m) else 0 * heights
    sensor_mm = 1 / (1 / focal_mm - 1 / (focus_m * 1000))
    landed = heights + (slopes_in - heights / focal_mm) * sensor_mm
    return float(np.ptp(landed))


@settings(deadline=None)
@given(
    st.floats(0.7, 1000) | st.just(np.inf),
    st.floats(20, 600),
    st.floats(0.95, 45),
    st.floats(0.7, 500),
)
def test_disc_is_what_traced_rays_spread(
    distance: float, focal: float, f_number: float, focus: float
) -> None:
    disc = blur_disc_mm(distance, focal_length_mm=focal, f_number=f_number, focus_distance_m=focus)
    traced = traced_spread_mm(distance, focal_mm=focal, f_number=f_number, focus_m=focus)
    assert disc == pytest.approx(traced, rel=1e-6, abs=1e-9)


@settings(deadline=None)
@given(st.floats(0.7, 500), st.floats(20, 300))
def test_half_the_focus_distance_blurs_like_infinity(focus: float, focal: float) -> None:
    lens = {"focal_length_mm": focal, "f_number": 2.8, "focus_distance_m": focus}
    if focus / 2 * 1000 > focal:
        half, infinite = blur_disc_mm([focus / 2, np.inf], **lens)
        assert half == pytest.approx(infinite, rel=1e-9)


def test_two_frames_with_one_focus_have_discs_in_the_ratio_of_their_f_numbers() -> None:
    distances = np.array([1.0, 3.0, 20.0])
    wide, stopped = blur_disc_mm(
        distances, focal_length_mm=200, f_number=[[2.8], [16]], focus_distance_m=5
    )
    assert stopped / wide == pytest.approx(0.175, rel=1e-12)


def test_focus_at_infinity_equals_a_very_distant_focus() -> None:
    lens = {"focal_length_mm": 135, "f_number": 2}
    far = blur_disc_mm(10, focus_distance_m=[1e7, np.inf], **lens)
    assert far[0] == pytest.approx(far[1], rel=1e-5)


def test_image_scale_is_the_magnification_in_focus_and_falls_with_distance() -> None:
    scales = image_scale([2, 4, np.inf], focal_length_mm=135, focus_distance_m=4)
    assert scales[1] == pytest.approx(135 / (4000 - 135), rel=1e-12)
    assert scales[0] == pytest.approx(2 * scales[1], rel=1e-12)
    assert scales[2] == 0


def test_parallax_is_the_difference_of_two_pinhole_projections() -> None:
    """A camera moved 1 mm: project both points through the lens centre, before and after."""
    sensor_mm = float(image_distance_mm(4, focal_length_mm=135))
    seen = [sensor_mm * 1.0 / (distance * 1000) for distance in (2.2, 14)]
    shift = shift_px_per_mm(2.2, 14, focal_length_mm=135, focus_distance_m=4, pixel_pitch_mm=0.006)
    assert shift == pytest.approx((seen[0] - seen[1]) / 0.006, rel=1e-12)


def test_a_point_inside_the_focal_length_is_refused() -> None:
    with pytest.raises(InputError, match=r"distance_m = 0\.1 m: must lie beyond .* 135 mm"):
        blur_disc_mm(0.1, focal_length_mm=135, f_number=2, focus_distance_m=4)
