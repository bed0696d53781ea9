"""Sensor noise: variance = a y + b per channel, y linear light (Foi et al. 2008)."""

import numpy as np

from blendkit.frame import Float

_SHOT_AT_ISO_100 = 8.0e-5
_READ_AT_ISO_100 = 1.6e-6


def noise_variance(level: float, iso: float) -> float:
    """Return the noise variance at a linear level.

    Photon noise grows with the amplification; read noise with its power 1.5, between what arises
    before the amplifier (2) and after it (0).  The two constants make sigma 0.004 at middle grey
    and ISO 100, a small camera sensor's order of magnitude (common practice, no source).

    >>> round(noise_variance(0.18, 100) ** 0.5, 4), round(noise_variance(0.18, 1600) ** 0.5, 4)
    (0.004, 0.0182)
    """
    shot, read = noise_parameters(iso)
    return shot * level + read


def noise_parameters(iso: float) -> tuple[float, float]:
    """Return a and b of variance = a y + b."""
    amplified = iso / 100
    return _SHOT_AT_ISO_100 * amplified, _READ_AT_ISO_100 * amplified**1.5


def noisy(light: Float, iso: float, *, seed: int) -> Float:
    """Return light with photon and read noise, as a normal approximation to the Poisson law."""
    shot, read = noise_parameters(iso)
    sigma = np.sqrt(shot * np.maximum(light, 0) + np.float32(read)).astype(np.float32)
    rng = np.random.default_rng(seed)
    return light + sigma * rng.standard_normal(light.shape, dtype=np.float32)
