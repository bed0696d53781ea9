"""Identities and directions that any depth of field keeps, whatever the lens."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from blendkit.errors import InputError
from blendkit.optics import blur_disc_mm, depth_of_field, focus_between_m, hyperfocal_m

FOCAL_MM = st.floats(20, 600)
F_NUMBER = st.floats(0.95, 45)
COC_MM = st.floats(0.003, 0.06)
FOCUS_M = st.floats(0.7, 500)


@settings(deadline=None)
@given(FOCUS_M, FOCAL_MM, F_NUMBER, COC_MM)
def test_limits_enclose_the_focus_and_their_discs_are_the_circle_of_confusion(
    focus: float, focal: float, f_number: float, coc: float
) -> None:
    near, far = depth_of_field(focus, focal_length_mm=focal, f_number=f_number, coc_mm=coc)
    assert near <= focus <= far
    lens = {"focal_length_mm": focal, "f_number": f_number, "focus_distance_m": focus}
    if near * 1000 > focal:
        assert blur_disc_mm(near, **lens) == pytest.approx(coc, rel=1e-6)
    if np.isfinite(far):
        assert blur_disc_mm(far, **lens) == pytest.approx(coc, rel=1e-6)
    else:
        assert blur_disc_mm(np.inf, **lens) <= coc * (1 + 1e-6)


@settings(deadline=None)
@given(FOCUS_M, FOCAL_MM, F_NUMBER, COC_MM, st.floats(1.01, 3))
def test_depth_grows_with_f_number_and_standard_and_shrinks_with_focal_length(
    focus: float, focal: float, f_number: float, coc: float, more: float
) -> None:
    def limits(**change: float) -> tuple[float, float]:
        lens = {"focal_length_mm": focal, "f_number": f_number, "coc_mm": coc} | change
        near, far = depth_of_field(focus, **lens)
        return float(near), float(far)

    near, far = limits()
    for deeper in (
        limits(f_number=f_number * more),
        limits(coc_mm=coc * more),
        limits(focal_length_mm=focal / more),
    ):
        assert deeper[0] < near
        assert deeper[1] > far or far == np.inf


@settings(deadline=None)
@given(FOCAL_MM, F_NUMBER, COC_MM)
def test_focus_at_the_hyperfocal_distance_holds_half_of_it_to_infinity(
    focal: float, f_number: float, coc: float
) -> None:
    lens = {"focal_length_mm": focal, "f_number": f_number, "coc_mm": coc}
    hyperfocal = hyperfocal_m(**lens)
    near, far = depth_of_field(hyperfocal, **lens)
    assert near == pytest.approx(hyperfocal / 2, rel=1e-12)
    assert far == np.inf
    assert np.isfinite(depth_of_field(hyperfocal * 0.999, **lens).far_m)


@settings(deadline=None)
@given(st.floats(0.7, 100), st.floats(0.7, 100), FOCAL_MM)
def test_focus_between_two_distances_blurs_both_alike(one: float, two: float, focal: float) -> None:
    lens = {
        "focal_length_mm": focal,
        "f_number": 2.0,
        "focus_distance_m": focus_between_m(one, two),
    }
    assert blur_disc_mm(one, **lens) == pytest.approx(blur_disc_mm(two, **lens), abs=1e-9)


def test_focus_at_infinity_is_sharp_from_the_handbook_hyperfocal_distance() -> None:
    near, far = depth_of_field(np.inf, focal_length_mm=50, f_number=8, coc_mm=0.03)
    assert near == pytest.approx(10.417, abs=5e-4)
    assert far == np.inf


def test_arrays_broadcast() -> None:
    near, far = depth_of_field(
        np.array([2.0, 4.0, 8.0]),
        focal_length_mm=135,
        f_number=np.array([[2.0], [16.0]]),
        coc_mm=0.0288,
    )
    assert near.shape == far.shape == (2, 3)


@pytest.mark.parametrize(
    ("focus", "change", "named"),
    [
        (0.1, {}, "focus_distance_m = 0.1"),
        (-4, {}, "focus_distance_m = -4"),
        (float("nan"), {}, "focus_distance_m = nan"),
        (4, {"f_number": 0}, "f_number = 0"),
        (4, {"coc_mm": -1}, "coc_mm = -1"),
        (4, {"focal_length_mm": float("nan")}, "focal_length_mm = nan"),
    ],
)
def test_numbers_no_lens_can_have_are_named(
    focus: float, change: dict[str, float], named: str
) -> None:
    lens = {"focal_length_mm": 135.0, "f_number": 2.0, "coc_mm": 0.03} | change
    with pytest.raises(InputError, match=named):
        depth_of_field(focus, **lens)
