"""Depth of field against printed tables, each in its source's form and at its source's rounding.

Handbooks drop the "+ f" of the hyperfocal distance and the terms in f of the limits:
H' = f^2/(N c), near = s H'/(H' + s), far = s H'/(H' - s).  H' is taken from `hyperfocal_m`.
"""

import pytest

from blendkit.optics import depth_of_field, focus_between_m, hyperfocal_m

IN_MM = 25.4
FT_M = 0.3048


def handbook_hyperfocal_ft(focal_in: float, f_number: float, coc_in: float) -> float:
    focal_mm = focal_in * IN_MM
    exact_m = hyperfocal_m(focal_length_mm=focal_mm, f_number=f_number, coc_mm=coc_in * IN_MM)
    return (float(exact_m) - focal_mm / 1000) / FT_M


def handbook_limits_ft(focus_ft: float, hyperfocal_ft: float) -> tuple[float, float]:
    near = focus_ft * hyperfocal_ft / (hyperfocal_ft + focus_ft)
    return near, focus_ft * hyperfocal_ft / (hyperfocal_ft - focus_ft)


def test_navy_manual_long_lens() -> None:
    """Photography (Basic), NAVEDTRA 14209, US Navy 1993, ch. 1; c = .002 in is inferred."""
    hyperfocal = handbook_hyperfocal_ft(6.1, 2.8, 0.002)
    assert hyperfocal == pytest.approx(554, abs=0.5)
    near, far = handbook_limits_ft(10, hyperfocal)
    assert (near, far) == pytest.approx((9.8, 10.2), abs=0.05)
    # the manual subtracts its rounded limits: 0.4, where the exact depth is 0.36
    assert round(far, 1) - round(near, 1) == pytest.approx(0.4)


def test_navy_manual_long_lens_exact() -> None:
    near, far = depth_of_field(
        10 * FT_M, focal_length_mm=6.1 * IN_MM, f_number=2.8, coc_mm=0.002 * IN_MM
    )
    assert (near / FT_M, far / FT_M) == pytest.approx((9.8, 10.2), abs=0.05)
    assert (far - near) / FT_M == pytest.approx(0.35, abs=0.015)


def test_army_course_short_lens() -> None:
    """Principles of Photography, US Army subcourse SS0507, event 10: 50 mm taken as 2 in."""
    hyperfocal = handbook_hyperfocal_ft(2, 8, 0.002)
    # the text truncates: 20.83 is printed as 20.8, 10.42 as 10.4
    assert 20.8 <= hyperfocal < 20.9
    assert 10.4 <= handbook_limits_ft(hyperfocal, hyperfocal + 1e-9)[0] < 10.5


def test_army_course_portrait_lens() -> None:
    """SS0507, event 12: 75 mm taken as 3 in, f/8, 15 ft, c .002 in; truncated to 0.1 ft."""
    hyperfocal = handbook_hyperfocal_ft(3, 8, 0.002)
    assert 46.8 <= hyperfocal < 46.9
    near, far = handbook_limits_ft(15, hyperfocal)
    assert (near, far, far - near) == pytest.approx((11.3, 22, 10.7), abs=0.1)


@pytest.mark.parametrize(("divisor", "published_mm"), [(1, 10467), (2, 5233), (3, 3489)])
def test_encyclopedia_hyperfocal_example(divisor: int, published_mm: float) -> None:
    """Encyclopedia article "Hyperfocal distance", worked example: 50 mm, f/8, c 0.03 mm."""
    exact_mm = 1000 * float(hyperfocal_m(focal_length_mm=50, f_number=8, coc_mm=0.03))
    assert exact_mm - 50 == pytest.approx(10417, abs=0.5)
    assert exact_mm / divisor == pytest.approx(published_mm, abs=0.5)


def test_focus_at_an_eighth_of_the_hyperfocal_distance() -> None:
    """Jacobson, Photographic lenses FAQ, question 11: 8/9 s and 8/7 s, to first order in f/H."""
    lens = {"focal_length_mm": 50, "f_number": 8, "coc_mm": 0.03}
    focus = float(hyperfocal_m(**lens)) / 8
    near, far = depth_of_field(focus, **lens)
    assert (near / focus, far / focus) == pytest.approx((8 / 9, 8 / 7), rel=2 * 50 / 10467)


def test_focus_at_half_the_hyperfocal_distance() -> None:
    """Encyclopedia article "Hyperfocal distance": sharp from H/3 to H, to first order in f/H."""
    lens = {"focal_length_mm": 50, "f_number": 8, "coc_mm": 0.03}
    hyperfocal = float(hyperfocal_m(**lens))
    near, far = depth_of_field(hyperfocal / 2, **lens)
    assert (near, far) == pytest.approx((hyperfocal / 3, hyperfocal), rel=2 * 50 / 10467)


def test_best_focus_for_two_distances_is_their_harmonic_mean() -> None:
    """Standard depth-of-field texts: limits N and F are equally blurred from 2 N F/(N + F)."""
    near, far = depth_of_field(7, focal_length_mm=200, f_number=8, coc_mm=0.03)
    assert focus_between_m(near, far) == pytest.approx(7, rel=1e-12)
