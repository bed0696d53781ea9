"""Lengths, sizes and sensors as people write them."""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from blendkit.errors import InputError
from blendkit.plan.units import (
    MM_PER_UNIT,
    parse_length_m,
    parse_length_mm,
    parse_number,
    parse_pixels,
    parse_sensor_mm,
    parse_shutter_s,
    parse_size,
)


@settings(deadline=None)
@given(st.floats(0.001, 1e4), st.sampled_from(sorted(MM_PER_UNIT)))
def test_units_round_trip(value: float, unit: str) -> None:
    length_mm = parse_length_mm(f"{value:.12f}{unit}")
    assert length_mm / MM_PER_UNIT[unit] == pytest.approx(value, rel=1e-6)
    assert parse_length_mm(f"{length_mm:.12f}mm") == pytest.approx(length_mm, rel=1e-9)


def test_units_against_each_other() -> None:
    """International yard and pound agreement, 1959: 1 yd = 0.9144 m exactly."""
    yards = [parse_length_m(text) for text in ("1yd", "3ft", "36in", "91.44cm")]
    assert yards == pytest.approx([0.9144] * 4, rel=1e-15)
    assert parse_length_m("1km") == parse_length_m("1000m") == parse_length_m("100000cm")


@pytest.mark.parametrize(
    "text", ["", "m", "0", "-4m", "nan", "4 furlongs", "4,2m", "1e3", "4m2", "--", "0.0ft", "½m"]
)
def test_what_is_no_length_is_named_with_what_is_allowed(text: str) -> None:
    with pytest.raises(InputError, match=r"--subject-at = .*write a number above 0 and a unit"):
        parse_length_m(text, name="--subject-at")


@pytest.mark.parametrize("text", ["60", "60x", "x40", "0x40", "-60x40", "60x40x2", "axb"])
def test_what_is_no_size_is_named(text: str) -> None:
    with pytest.raises(InputError, match=r"--print = .*width x height in cm"):
        parse_size(text, unit="cm", name="--print")


def test_sensor_names_come_before_sizes() -> None:
    assert parse_sensor_mm("44x33") == (43.8, 32.9)
    assert parse_sensor_mm("44.1x33") == (44.1, 33.0)
    assert parse_sensor_mm("Full-Frame") == (36.0, 24.0)
    assert parse_sensor_mm("36x24mm") == (36.0, 24.0)
    with pytest.raises(InputError, match="sensor = apsc: choose full-frame, aps-c"):
        parse_sensor_mm("apsc")


def test_pixels_are_whole() -> None:
    assert parse_pixels("6000x4000") == (6000, 4000)
    with pytest.raises(InputError, match="whole numbers"):
        parse_pixels("6000.5x4000")


def test_numbers_and_shutter_times() -> None:
    assert parse_number("F/16", name="--wide") == 16
    assert parse_shutter_s("1/60 s", name="--shutter") == 1 / 60
    for text in ("0", "-1", "nan", "inf", "two", "1/0"):
        with pytest.raises(InputError, match=f"--shutter = {text}"):
            parse_shutter_s(text, name="--shutter")
