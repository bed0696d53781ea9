"""Angles of view, image scale and fall-off against printed values."""

import math

import pytest

from blendkit.optics import (
    field_of_view_deg,
    image_distance_mm,
    loss_ev,
    magnification,
    natural_falloff,
    object_distance_m,
)

DIAGONAL_MM = math.hypot(36, 24)
IN_MM = 25.4


@pytest.mark.parametrize(
    ("focal_mm", "published_deg"),
    [
        (50, (39.6, 27.0, 46.8)),
        (85, (23.9, 16.1, 28.6)),
        (100, (20.4, 13.7, 24.4)),
        (135, (15.2, 10.2, 18.2)),
        (150, (13.7, 9.1, 16.4)),
    ],
)
def test_claff_table_of_fields_of_view(
    focal_mm: float, published_deg: tuple[float, float, float]
) -> None:
    """Claff 2006, table of fields of view: 36x24 mm at infinity; width, height, diagonal."""
    angles = field_of_view_deg([36, 24, DIAGONAL_MM], focal_length_mm=focal_mm)
    assert angles == pytest.approx(published_deg, abs=0.05)


def test_long_lens_sees_about_eight_degrees() -> None:
    """300 mm on 36x24 (common practice, no source)."""
    assert field_of_view_deg(DIAGONAL_MM, focal_length_mm=300) == pytest.approx(8, abs=0.5)


@pytest.mark.parametrize(
    ("focal_in", "scale", "object_in", "image_in", "tolerance_in"),
    [
        (12, 6 / 12, 36, 18, 1e-9),  # US Army subcourse SS0511
        (10, 4 / 16, 50, 12.5, 1e-9),  # NAVEDTRA 14209, p. 1-28: 16x20 reduced to 4x5
        (10, 5 / 72, 154, 10.7, 0.05),  # the same page: a 72 in person to 5 in, rounded
    ],
)
def test_conjugate_distances(
    focal_in: float, scale: float, object_in: float, image_in: float, tolerance_in: float
) -> None:
    focal_mm = focal_in * IN_MM
    distance_m = object_distance_m(scale, focal_length_mm=focal_mm)
    assert distance_m * 1000 / IN_MM == pytest.approx(object_in, abs=tolerance_in)
    image_mm = image_distance_mm(distance_m, focal_length_mm=focal_mm)
    assert image_mm / IN_MM == pytest.approx(image_in, abs=tolerance_in)
    assert magnification(distance_m, focal_length_mm=focal_mm) == pytest.approx(scale, rel=1e-12)


@pytest.mark.parametrize(("focal_mm", "left"), [(85, 0.882), (135, 0.951), (200, 0.977)])
def test_natural_falloff_at_the_corner(focal_mm: float, left: float) -> None:
    """cos^4 at the corner of 36x24, computed by hand and rounded to 0.001."""
    corner = natural_falloff(DIAGONAL_MM / 2, focal_length_mm=focal_mm)
    assert corner == pytest.approx(left, abs=0.0005)


def test_light_lost_wide_open() -> None:
    """Goldman & Chen 2005, ICCV: 30-40 % lost in the corners is 0.5 to 0.74 stop."""
    assert (loss_ev(0.3), loss_ev(0.4)) == pytest.approx((0.51, 0.74), abs=0.005)
