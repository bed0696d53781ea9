"""Exposure, circles of confusion and diffraction against printed values."""

import pytest

from blendkit.optics import (
    airy_disc_mm,
    bellows_factor,
    circle_of_confusion_mm,
    exact_f_number,
    exact_shutter_s,
    exposure_value,
    illuminance_lx,
    luminance_cd_m2,
    print_circle_of_confusion_mm,
)

THIRDS = (
    *("1", "1.1", "1.2", "1.4", "1.6", "1.8", "2", "2.2", "2.5", "2.8", "3.2", "3.5", "4", "4.5"),
    *("5", "5.6", "6.3", "7.1", "8", "9", "10", "11", "13", "14", "16", "18", "20", "22"),
)
"""The usual marked series (ISO 517; text not read)."""


@pytest.mark.parametrize(("third", "mark"), list(enumerate(THIRDS)))
def test_marks_are_thirds_of_a_step(third: int, mark: str) -> None:
    exact = exact_f_number(float(mark))
    assert exact == pytest.approx(2 ** (third / 6), rel=1e-12)
    # the series rounds or truncates: never by more than the last digit it prints
    assert abs(exact - float(mark)) < (0.1 if "." in mark else 1)


@pytest.mark.parametrize(
    ("f_number", "time_s", "ev"),
    [(16, 1 / 125, 15), (8, 1 / 60, 12), (11, 1 / 30, 12), (32, 0.25, 12)],
)
def test_exposure_values(f_number: float, time_s: float, ev: int) -> None:
    """APEX, Exif standard (CIPA DC-008), annex C; whole numbers, so half a step of rounding."""
    assert exposure_value(f_number, time_s) == pytest.approx(ev, abs=0.5)
    exact = exposure_value(exact_f_number(f_number), exact_shutter_s(time_s))
    assert exact == pytest.approx(ev, abs=1e-9)


@pytest.mark.parametrize("ev", [-3, 0, 3, 12, 15])
def test_light_metered_at_iso_100(ev: int) -> None:
    """ISO 2720 (second-hand): L = 2^(EV-3) cd/m2 for K 12.5, E = 2.5 2^EV lx for C 250."""
    assert luminance_cd_m2(ev) == 2.0 ** (ev - 3)
    assert illuminance_lx(ev) == 2.5 * 2.0**ev


@pytest.mark.parametrize(("scale", "factor"), [(18 / 12 - 1, 2.25), (8 / 12, 2.8)])
def test_bellows_exposure_factor(scale: float, factor: float) -> None:
    """US Army subcourse SS0512: extension 18 in for a 12 in lens; image 8, object 12."""
    assert bellows_factor(scale) == pytest.approx(factor, abs=0.05)


@pytest.mark.parametrize(
    ("f_number", "wavelength_nm", "published_um"), [(16, 546, 21.3), (8, 500, 9.76)]
)
def test_airy_disc(f_number: float, wavelength_nm: float, published_um: float) -> None:
    """2.44 lambda N, computed by hand; half a unit of the last digit."""
    disc_um = 1000 * airy_disc_mm(f_number, wavelength_nm=wavelength_nm)
    assert disc_um == pytest.approx(published_um, abs=0.05 if published_um > 10 else 0.005)


@pytest.mark.parametrize(("share", "published_mm"), [(1500, 0.0288), (1730, 0.0250)])
def test_conventional_circle_of_confusion(share: float, published_mm: float) -> None:
    """The conventions d/1500 and d/1730 for d = 43.27 mm."""
    assert circle_of_confusion_mm((36, 24), share=share) == pytest.approx(published_mm, abs=5e-5)


def test_circle_of_confusion_of_a_print() -> None:
    """0.2 mm on a print at 25 cm (convention): 8x enlarged that is 0.025 mm, as d/1730 says."""
    disc_mm = print_circle_of_confusion_mm((36, 24), print_cm=(28.8, 19.2), viewing_cm=25)
    assert disc_mm == pytest.approx(0.025, abs=5e-5)
