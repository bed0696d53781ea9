"""Discs that the rims of a lens cut: against the overlap of two circles, and even discs."""

import cv2
import numpy as np
import pytest

from blendkit.filters.disc import disc_blur
from blendkit.filters.rim_cut import RimCut, cut_blur, cut_kernel
from blendkit.frame import Float


def overlap(apart: float) -> float:
    """Return the area that two circles of diameter 1 share, their centres this far apart.

    The symmetric lens of E. W. Weisstein, "Circle-Circle Intersection", MathWorld, equation 16,
    from memory: 2 R^2 arccos(d / 2R) - d sqrt(4 R^2 - d^2) / 2.
    """
    return 0.5 * np.arccos(apart) - apart * np.sqrt(1 - apart**2) / 2


def moments(light: Float) -> tuple[tuple[float, float], tuple[float, float]]:
    """Return mean and standard deviation of light, (x, y) each."""
    y, x = np.mgrid[: light.shape[0], : light.shape[1]]
    means = [float((a * light).sum() / light.sum()) for a in (x, y)]
    spread = [
        float(np.sqrt((np.square(a - m) * light).sum() / light.sum()))
        for a, m in zip((x, y), means, strict=True)
    ]
    return (means[0], means[1]), (spread[0], spread[1])


@pytest.mark.parametrize("apart", [0.0, 0.2, 0.5, 0.7])
@pytest.mark.parametrize("diameter_px", [24.0, 41.5])
def test_a_kernel_is_the_overlap_of_two_circles(apart: float, diameter_px: float) -> None:
    kernel = cut_kernel(diameter_px, (apart * 0.6, -apart * 0.8))
    assert kernel.sum() == pytest.approx(1, abs=1e-5)
    # Where a kernel is whole, it is one over its area.
    assert 1 / kernel.max() == pytest.approx(overlap(apart) * diameter_px**2, rel=0.01)


def test_a_point_in_a_corner_becomes_a_lens_across_the_line_to_the_centre() -> None:
    points = np.zeros((200, 300), np.float32)
    points[30, 150] = points[100, 270] = points[100, 150] = 1
    blurred = cut_blur(points, 40.0, RimCut.over(points.shape, 0.8))
    above, beside, middle = blurred[:70, 100:200], blurred[50:150, 240:], blurred[75:125, 100:200]
    for light, place in ((above, (50, 30)), (beside, (30, 50)), (middle, (50, 25))):
        # Every px gathers through its own aperture: nearer the middle it is open wider.
        assert light.sum() == pytest.approx(1, abs=0.1)
        assert moments(light)[0] == pytest.approx(place, abs=1.2)
    # 70 and 120 px of 180 from the middle, at 0.8 in the corners: 0.31 and 0.53 diameters apart.
    for light, apart in ((above.T, 0.31), (beside, 0.53)):
        across, along = moments(light)[1]
        wanted = moments(cut_kernel(40.0, (apart, 0.0)))[1]
        assert across / along == pytest.approx(wanted[0] / wanted[1], abs=0.07)
    even = moments(middle)[1]
    assert even == pytest.approx((9.6, 9.6), abs=0.4)  # a whole disc has 10


def test_without_a_cut_it_is_an_even_disc() -> None:
    values = np.random.default_rng(1).random((90, 120, 4), np.float32)
    even = disc_blur(values, 14.0, border=cv2.BORDER_REPLICATE)
    np.testing.assert_array_equal(cut_blur(values, 14.0, RimCut()), even)
    # A cut of next to nothing, by the way of many kernels, is the same but for rounding.
    np.testing.assert_allclose(
        cut_blur(values, 14.0, RimCut.over((90, 120), 1e-9)), even, atol=1e-4
    )


def test_even_light_stays_even() -> None:
    ones = np.ones((67, 143), np.float32)
    np.testing.assert_allclose(cut_blur(ones, 20.0, RimCut.over(ones.shape, 0.7)), 1, atol=1e-5)


def test_a_part_and_a_reduced_picture_know_where_the_centre_is() -> None:
    rim = RimCut.over((400, 600), 0.5)
    part = rim.within((slice(100, 300), slice(50, 500)))
    assert part.at(449 - 50, 320 - 100) == pytest.approx(rim.at(449, 320))
    small = rim.reduced(4)
    assert small.at((449 - 1.5) / 4, (321.5 - 1.5) / 4) == pytest.approx(rim.at(449, 321.5))
    assert small.enlarged(4) == rim
