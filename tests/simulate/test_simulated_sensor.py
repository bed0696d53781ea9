"""Fall-off, shake, noise and tone of simulated frames."""

import numpy as np
import pytest
from scipy.signal import convolve2d

from blendkit.simulate.camera import Camera
from blendkit.simulate.mosaic import mosaicked
from blendkit.simulate.noise import noise_variance, noisy
from blendkit.simulate.sensor import exposed, falloff, line_kernel, toned


def test_falloff_costs_its_ev_in_every_corner_and_nothing_in_the_middle() -> None:
    factor = falloff((301, 201), 1.5)
    for corner in ((0, 0), (0, -1), (-1, 0), (-1, -1)):
        assert np.log2(factor[corner]) == pytest.approx(-1.5, abs=1e-5)
    assert factor[100, 150] == 1.0


@pytest.mark.parametrize("iso", [100.0, 800.0, 1600.0])
@pytest.mark.parametrize("level", [0.02, 0.18, 0.7])
def test_noise_has_the_variance_it_states(iso: float, level: float) -> None:
    flat = np.full((200, 200, 3), level, np.float32)
    residue = noisy(flat, iso, seed=1) - flat
    assert residue.var() == pytest.approx(noise_variance(level, iso), rel=0.03)
    assert abs(residue.mean()) < 4 * np.sqrt(noise_variance(level, iso) / residue.size)


def test_noise_agrees_with_a_published_estimator() -> None:
    """Immerkaer 1996, Fast noise variance estimation: a Laplacian that smooth light cannot pass."""
    ramp = np.linspace(0.17, 0.19, 256, dtype=np.float32)[None, :, None]
    frame = noisy(np.repeat(np.repeat(ramp, 256, axis=0), 3, axis=2), 800, seed=2)
    mask = np.array([[1, -2, 1], [-2, 4, -2], [1, -2, 1]])
    inner = convolve2d(frame[..., 1], mask, mode="valid")
    found = np.sqrt(np.pi / 2) / 6 * np.abs(inner).mean()
    assert found == pytest.approx(noise_variance(0.18, 800) ** 0.5, rel=0.04)


def test_four_times_the_iso_doubles_shot_noise() -> None:
    assert noise_variance(0.5, 400) / noise_variance(0.5, 100) == pytest.approx(4, rel=0.2)


@pytest.mark.parametrize(("length_px", "angle_deg"), [(3.0, 0.0), (12.0, 30.0), (20.0, 90.0)])
def test_shake_is_a_line_of_its_length_and_direction(length_px: float, angle_deg: float) -> None:
    kernel = line_kernel(length_px, angle_deg).astype(np.float64)
    y, x = np.mgrid[: kernel.shape[0], : kernel.shape[1]] - kernel.shape[0] // 2
    along = x * np.cos(np.deg2rad(angle_deg)) - y * np.sin(np.deg2rad(angle_deg))
    assert (kernel * along).sum() == pytest.approx(0, abs=1e-6)
    # a line of length L has variance L^2/12; bilinear placing adds up to 1/4
    assert (kernel * along**2).sum() == pytest.approx(length_px**2 / 12, abs=0.26)


def test_tone_curve_keeps_black_and_white_and_rises() -> None:
    curve = toned(np.linspace(0, 1, 1001, dtype=np.float32))
    assert (curve[0], curve[-1]) == pytest.approx((0, 1))
    assert np.all(np.diff(curve) > 0)
    assert np.abs(np.log2(curve[100:900] / np.linspace(0.1, 0.9, 801)[:800])).max() > 0.1


def test_frames_clip_at_white() -> None:
    frame = exposed(np.full((8, 8, 3), 5.0, np.float32), Camera(), tone_curve=False, seed=0)
    assert frame.max() == 1.0


def test_a_mosaic_keeps_the_light_and_makes_neighbours_share_their_noise() -> None:
    level = np.array([0.3, 0.2, 0.15], np.float32)
    frame = mosaicked(np.full((200, 300, 3), level), 800, seed=3)[8:-8, 8:-8]
    assert frame.mean(axis=(0, 1)) == pytest.approx(level, rel=0.005)
    # Balance doubles red's noise; a mean of neighbours has less than each of them.
    red = 2 * noise_variance(0.15, 800) ** 0.5
    assert 0.6 * red < frame[..., 0].std() < 0.9 * red
    white = noisy(np.full((200, 300, 3), level), 800, seed=3)
    shared = [np.corrcoef(f[:, 1:, 0].ravel(), f[:, :-1, 0].ravel())[0, 1] for f in (frame, white)]
    assert shared[0] > 0.4
    assert abs(shared[1]) < 0.02
