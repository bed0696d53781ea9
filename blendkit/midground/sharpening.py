"""Sharpening a zone whose disc is known: Wiener's filter, its gain capped by the grain.

W = conj(H) / (|H|^2 + noise / signal) with H the disc's transfer function (Wiener 1949; Gonzalez &
Woods, Digital Image Processing, section 5.8).  The signal's spectrum is taken to fall with the
square of frequency, as natural pictures' do (Field 1987, doi:10.1364/JOSAA.4.002379).
"""

import numpy as np
from numpy.typing import NDArray
from scipy import fft

from blendkit.filters.disc import disc_kernel
from blendkit.frame import Float

LARGEST_DISC_PX = 6.0
"""Beyond this the first zero of the transfer function falls where print detail lies."""
_STEP_PX = 0.5
_LARGEST_GAIN = 6.0


def sharpened(pixels: Float, disc_px: Float, grain: float) -> Float:
    """Return a picture sharpened by a disc that varies over it.

    Parameters
    ----------
    pixels : float32 (height, width, 3), linear.
    disc_px : float32 (height, width); below half a px nothing changes.
    grain : standard deviation of the noise.

    Returns
    -------
    ndarray
        float32, the input's shape.
    """
    pad = int(4 * LARGEST_DISC_PX)
    padded = np.pad(pixels, ((pad, pad), (pad, pad), (0, 0)), mode="reflect")
    spectrum = fft.rfft2(padded, axes=(0, 1))
    power = float(np.var(padded - padded.mean(axis=(0, 1))))
    levels = np.arange(0, min(float(disc_px.max()), LARGEST_DISC_PX) + _STEP_PX, _STEP_PX)
    place = np.clip(disc_px / _STEP_PX, 0, len(levels) - 1)
    result = np.zeros_like(pixels)
    for index, disc in enumerate(levels):
        share = np.clip(1 - np.abs(place - index), 0, 1)[..., None]
        if share.max() > 0:
            filtered = _filtered(spectrum, padded.shape[:2], float(disc), grain, power)
            result += share * filtered[pad:-pad, pad:-pad]
    return np.maximum(result, 0).astype(np.float32)


def disc_left_px(disc_px: float, grain: float, power: float) -> float:
    """Return the disc that blurs as much as what sharpening leaves of a disc.

    Compared by the area under the transfer function up to half the sampling frequency.

    >>> disc_left_px(3.0, 0.001, 0.01) < 2.0 < disc_left_px(6.0, 0.05, 0.01)
    True
    """
    shape = (128, 128)
    after = np.abs(_transfer(shape, disc_px) * _wiener(shape, disc_px, grain, power)).mean()
    ladder = np.arange(0, disc_px + 0.26, 0.25)
    areas = [np.abs(_transfer(shape, disc)).mean() for disc in ladder]
    return float(ladder[int(np.argmin(np.abs(np.array(areas) - after)))])


def _filtered(
    spectrum: NDArray[np.complex64], shape: tuple[int, int], disc: float, grain: float, power: float
) -> Float:
    if disc < _STEP_PX:
        return np.asarray(fft.irfft2(spectrum, shape, axes=(0, 1)), np.float32)
    gain = _wiener(shape, disc, grain, power)[..., None]
    return np.asarray(fft.irfft2(spectrum * gain, shape, axes=(0, 1)), np.float32)


def _wiener(shape: tuple[int, int], disc: float, grain: float, power: float) -> NDArray[np.float64]:
    transfer = _transfer(shape, disc)
    y, x = np.meshgrid(fft.fftfreq(shape[0]), fft.rfftfreq(shape[1]), indexing="ij")
    frequency = np.maximum(np.hypot(x, y), 0.5 / max(shape))
    falling = 1 / frequency**2
    signal = power * falling / falling.mean()
    ratio = max(grain, 1e-5) ** 2 / signal
    gain = transfer / (transfer**2 + ratio)
    # Light as a whole stays: the filter passes the mean unchanged.
    return np.asarray(np.clip(gain / gain[0, 0], -_LARGEST_GAIN, _LARGEST_GAIN))


def _transfer(shape: tuple[int, int], disc: float) -> NDArray[np.float64]:
    kernel = disc_kernel(disc)
    full = np.zeros(shape)
    side = kernel.shape[0]
    full[:side, :side] = kernel
    centred = np.roll(full, (-(side // 2), -(side // 2)), axis=(0, 1))
    return np.asarray(fft.rfft2(centred).real)
