"""The one resampling: exact on whole shifts, close to a Fourier shift on fractions."""

import cv2
import numpy as np
from scipy import ndimage

from blendkit.alignment.warp import warp_to_background
from blendkit.frame import Float

SIZE = (240, 160)


def _picture() -> Float:
    """Return detail of about 3 px with no jump at the rim, float32 (160, 240)."""
    rng = np.random.default_rng(7)
    values = ndimage.gaussian_filter(rng.normal(0, 1, (160, 240)), 1.2, mode="wrap")
    return (0.5 + 0.1 * values / values.std()).astype(np.float32)


def _shift(x: float, y: float) -> np.ndarray:
    return np.array([[1, 0, x], [0, 1, y], [0, 0, 1.0]])


def _psnr(one: Float, other: np.ndarray) -> float:
    inner = (slice(8, -8), slice(8, -8))
    return float(-10 * np.log10(np.square(one[inner] - other[inner]).mean()))


def test_a_whole_shift_moves_px_untouched() -> None:
    picture = _picture()
    moved = warp_to_background(picture, _shift(3, -2), SIZE)
    assert np.abs(moved.pixels[10:-10, 10:-10] - picture[8:-12, 13:-7]).max() < 1e-6


def test_a_fraction_of_a_px_beats_cubic_by_decibels() -> None:
    picture = _picture()
    wanted = np.fft.ifft2(ndimage.fourier_shift(np.fft.fft2(picture), (-0.25, -0.25))).real
    ours = _psnr(warp_to_background(picture, _shift(0.25, 0.25), SIZE).pixels, wanted)
    flags = cv2.INTER_CUBIC | cv2.WARP_INVERSE_MAP
    cubic = _psnr(cv2.warpPerspective(picture, _shift(0.25, 0.25), SIZE, flags=flags), wanted)
    assert 45 < ours < 80
    assert ours > cubic + 5
