"""Tone curves: table, inverse and the two extensions that float files need."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from blendkit.files import curves

CASES = {
    "srgb": curves.SRGB,
    "linear": curves.LINEAR,
    "gamma 2.2": curves.gamma(2.2),
    "gamma 1.8": curves.gamma(1.8),
    "few nodes": curves.sampled(np.linspace(0, 1, 33) ** 2),
    "flat foot": curves.sampled(np.maximum(np.linspace(0, 1, 256) - 0.05, 0) / 0.95),
}


@pytest.mark.parametrize("name", CASES)
def test_every_16_bit_code_survives_the_round_trip(name: str) -> None:
    curve = CASES[name]
    codes = np.rint(curve.encode(curve.table(65535)) * 65535).astype(int)
    away = np.abs(codes - np.arange(65536))
    if name == "flat foot":  # codes of equal light cannot be told apart
        away = away[3400:]
    assert away.max() <= (0 if name != "flat foot" else 1)


@pytest.mark.parametrize("name", ["srgb", "linear", "gamma 2.2"])
def test_the_inverse_is_accurate_between_codes_and_in_deep_shadow(name: str) -> None:
    curve = CASES[name]
    encoded = np.geomspace(1e-4, 40.0, 5000)
    back = curve.encode(curve.decode(encoded).astype(np.float32))
    np.testing.assert_allclose(back, encoded, rtol=3e-6)


def test_srgb_meets_the_values_of_its_standard() -> None:
    """IEC 61966-2-1: linear below 0.04045, then ((V + 0.055) / 1.055) ** 2.4."""
    v = np.arange(256) / 255
    expected = np.where(v <= 0.04045, v / 12.92, ((v + 0.055) / 1.055) ** 2.4)
    np.testing.assert_allclose(curves.SRGB.table(255), expected, rtol=1e-6)


@given(st.floats(-20, 20, width=32))
def test_float_values_come_back_with_their_sign(value: float) -> None:
    pixels = np.array([value], np.float32)
    back = curves.SRGB.encode(curves.SRGB.to_linear(pixels))
    assert back[0] == pytest.approx(value, rel=1e-5, abs=1e-7)


def test_a_sampled_curve_goes_on_above_white_as_steeply_as_it_ends() -> None:
    curve = curves.sampled(np.array([0.0, 0.2, 1.0]))
    assert curve.decode(np.array([1.5]))[0] == pytest.approx(1.8)


def test_parametric_types_agree_where_they_describe_the_same_curve() -> None:
    """ICC.1:2022 table 68: type 4 with e = f = 0 is type 3; type 2 with c = 0 is type 1."""
    x = np.linspace(0, 1, 101)
    three = curves.parametric(3, (2.4, 0.9, 0.1, 0.1, 0.05)).decode(x)
    four = curves.parametric(4, (2.4, 0.9, 0.1, 0.1, 0.05, 0.0, 0.0)).decode(x)
    np.testing.assert_array_equal(three, four)
    one = curves.parametric(1, (2.0, 0.8, 0.2)).decode(x)
    two = curves.parametric(2, (2.0, 0.8, 0.2, 0.0)).decode(x)
    np.testing.assert_array_equal(one, two)
