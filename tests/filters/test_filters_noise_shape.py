"""Grain of a given shape: what filters leave of it, and what is drawn of it."""

import numpy as np
import pytest

from blendkit.filters.bands import gaussian
from blendkit.filters.noise_shape import (
    BAND_STEPS_PX,
    WHITE,
    NoiseShape,
    band_gains,
    band_parts,
    pixel_gains,
)
from blendkit.frame import Float

STEPS_PX = (0.8, 1.6, 3.2)
SIZE = (512, 512)


def colored() -> NoiseShape:
    """Return grain that is coarse, less so in green, and shared by the channels in part."""
    fine = np.array([[0.4, 0.2, 0.0], [0.2, 0.7, 0.1], [0.0, 0.1, 0.4]])
    power = np.stack([fine, np.diag([2.0, 1.6, 2.0]), np.diag([4.0, 2.5, 4.0])])
    unit = np.sqrt(pixel_gains() @ np.diagonal(power, axis1=1, axis2=2))
    power /= unit[:, None] * unit
    fine = band_gains(BAND_STEPS_PX)[0] @ np.diagonal(power, axis1=1, axis2=2)
    return NoiseShape(power, fine)


def covariances(grain: Float) -> Float:
    flat = [part.reshape(-1, 3) for part in band_parts(grain, STEPS_PX)]
    return np.array([part.T @ part / len(part) for part in flat])


@pytest.mark.parametrize("shape", [WHITE, colored()])
def test_drawn_grain_has_deviation_one_and_leaves_in_every_band_what_is_stated(
    shape: NoiseShape,
) -> None:
    grain = shape.drawn(SIZE, seed=4)
    assert grain.dtype == np.float32
    assert grain.std(axis=(0, 1)) == pytest.approx(np.ones(3), abs=0.01)
    stated, found = shape.left_by(STEPS_PX), covariances(grain)
    scale = np.sqrt(stated.diagonal(axis1=1, axis2=2))
    unit = scale[:, :, None] * scale[:, None]
    assert np.abs((found - stated) / unit).max() < 0.12  # the coarsest band has few cells


def test_white_noise_drawn_by_another_hand_leaves_what_is_stated() -> None:
    white = np.random.default_rng(8).standard_normal((*SIZE, 3), np.float32)
    stated, found = WHITE.left_by(STEPS_PX), covariances(white)
    for band in range(3):
        assert found[band].diagonal() == pytest.approx(stated[band].diagonal(), rel=0.06)


def test_coarse_deviation_is_what_a_wide_gaussian_leaves_of_white_noise() -> None:
    shape, sigma_px = colored(), 6.0
    left = gaussian(shape.drawn(SIZE, seed=1), sigma_px)[32:-32, 32:-32].std(axis=(0, 1))
    # White noise under a Gaussian keeps 1 / (2 sqrt(pi) sigma) of its deviation.
    assert left * 2 * np.sqrt(np.pi) * sigma_px == pytest.approx(shape.coarse, rel=0.1)


def test_grain_larger_than_its_square_has_no_seam() -> None:
    grain = colored().drawn((700, 1200), seed=2)[..., 1]
    steps = np.abs(np.diff(grain, axis=1)).mean(axis=0)
    assert steps.max() < 1.35 * steps.mean()
