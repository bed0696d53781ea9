"""Array operations against scipy, and against geometry."""

import numpy as np
import pytest
from scipy import ndimage, signal

from blendkit.filters.disc import disc_blur, disc_kernel
from blendkit.filters.resample import (
    any_in_cells,
    enlarge,
    enlarge_mask,
    matrix_at_reduced_scale,
    reduce_by,
    share_in_cells,
)


@pytest.mark.parametrize("diameter_px", [2.5, 7.0, 33.3, 90.0])
def test_a_kernel_has_the_discs_second_moment(diameter_px: float) -> None:
    kernel = disc_kernel(diameter_px).astype(np.float64)
    reach = kernel.shape[0] // 2
    x = np.arange(-reach, reach + 1)
    variance = (kernel * x[None, :] ** 2).sum()
    # An even disc of diameter D has variance D^2 / 16; pixels add a twelfth.
    assert variance == pytest.approx(diameter_px**2 / 16 + 1 / 12, rel=0.03, abs=0.1)


@pytest.mark.parametrize("diameter_px", [5.0, 30.0])
def test_small_discs_equal_scipys_convolution(diameter_px: float) -> None:
    picture = np.random.default_rng(0).random((120, 150)).astype(np.float32)
    ours = disc_blur(picture, diameter_px)
    theirs = ndimage.convolve(picture, disc_kernel(diameter_px), mode="mirror")
    np.testing.assert_allclose(ours, theirs, atol=1e-5)


def test_large_discs_are_close_to_direct_convolution() -> None:
    picture = np.random.default_rng(1).random((500, 600)).astype(np.float32)
    picture[:, 300:] += 1
    ours = disc_blur(picture, 150.0)
    # SciPy's convolution by Fourier transform: exact to rounding, and direct sums take 16 s.
    mirrored = np.pad(picture, 75, mode="reflect")
    exact = signal.fftconvolve(mirrored, disc_kernel(150.0), mode="same")[75:-75, 75:-75]
    assert 1e-5 < np.abs(ours - exact).max() < 0.01


def test_reducing_and_enlarging_keep_the_place() -> None:
    y, x = np.indices((203, 301), np.float32)
    ramp = 0.25 * x + 0.5 * y
    again = enlarge(reduce_by(ramp, 5), 5, (301, 203))
    inner = (slice(10, -10), slice(10, -10))
    np.testing.assert_allclose(again[inner], ramp[inner], atol=1e-3)


@pytest.mark.parametrize("factor", [7, 13])
def test_a_mask_of_cells_lies_where_its_cells_do(factor: int) -> None:
    """Stretched to the picture's size, the last cells would lie up to a cell too far."""
    size = (40 * factor + 1, 3 * factor + 2)
    marked = np.zeros(size[::-1], np.bool_)
    marked[:, 39 * factor : 40 * factor] = True
    assert np.array_equal(enlarge_mask(any_in_cells(marked, factor), factor, size), marked)
    share = share_in_cells(marked, factor)
    np.testing.assert_allclose(share, reduce_by(marked.astype(np.float32), factor), atol=1e-7)
    smooth = enlarge_mask(share > 0.5, factor, size, smooth=True)
    assert (smooth ^ marked)[:, : 39 * factor - factor].sum() == 0
    middle = np.flatnonzero(smooth[0]).mean()
    assert middle == pytest.approx(39 * factor + (factor - 1) / 2, abs=0.6)


def test_a_disc_wider_than_the_picture_is_blurred_small() -> None:
    """At full size its kernel took gigabytes."""
    light = np.zeros((120, 160, 3), np.float32)
    light[:, :80] = 1
    even = disc_blur(light, 4000.0)
    assert np.ptp(even) < 0.05
    assert even.mean() == pytest.approx(0.5, abs=0.1)


def test_a_transform_at_reduced_scale_maps_the_same_points() -> None:
    full = np.array([[1.01, -0.02, 7.0], [0.02, 1.01, -3.0], [0, 0, 1]])
    small = matrix_at_reduced_scale(full, 4)
    centre = np.array([4 * 20 + 1.5, 4 * 11 + 1.5, 1])
    mapped = (full @ centre)[:2]
    np.testing.assert_allclose(4 * (small @ [20, 11, 1])[:2] + 1.5, mapped, atol=1e-9)
