"""Whether a bridge frame shows what the result shows, where it was laid on it."""

import numpy as np

from blendkit.filters.bands import band_pass
from blendkit.filters.resample import enlarge_mask
from blendkit.frame import Bool, Float, luminance
from blendkit.repair.job import CannotError, Job, worst_disc_px

LEAST_CORRELATION = 0.6
"""Frames of one place that lie on each other reach 0.87 and more in this band, a bridge frame that
is off by more than the band's width below 0.5, other pictures and noise 0.2 at most."""
_BAND_GAIN = 0.0358
"""Variance that white noise of 1 keeps in the band from s to 2s px, times s^2:
(1/4 + 1/16 - 1/5) / pi, from the integrals of products of Gaussians."""
_LUMINANCE_GAIN = 0.6
"""Variance of luminance, at most, where each channel's noise is 1 (BT.709: 0.2^2 + 0.7^2 + ...)."""
_PLAIN = 3.0
_LOOSE_SHARE, _LEAST_LOOSE_PX = 1 / 800, 1.5


def check_same_scene(job: Job, pixels: Float, covered: Bool, grains: tuple[float, float]) -> None:
    """Raise CannotError unless a laid bridge frame shows the ground's texture where it lies.

    They are compared in the band that is left in the softer of them: finer detail only one has.
    Ground that is plain in both says nothing against the frame, and nothing can be seen of it.

    Parameters
    ----------
    pixels : of the bridge frame on the result's grid, float32 (height, width, 3), linear.
    covered : bool (height, width), where it reaches.
    grains : standard deviation of the noise in the result and in the bridge frame.
    """
    width, height = job.background.size
    where = enlarge_mask(job.ground.surface.region, job.blur.factor, (width, height)) & covered
    if not where.any():
        raise CannotError("it does not reach the soft ground")
    sigma = max(worst_disc_px(job.ground, job.soft) / 2, 1.5 * max(width, height) / 1200)
    own, other = (
        band_pass(luminance(each), sigma, 2 * sigma)[where] for each in (job.merged.pixels, pixels)
    )
    noise = [_BAND_GAIN * _LUMINANCE_GAIN * (grain / sigma) ** 2 for grain in grains]
    energy = [max(float(np.var(values)), 1e-14) for values in (own, other)]
    if all(e < _PLAIN * n for e, n in zip(energy, noise, strict=True)):
        return
    shared = float(np.mean((own - own.mean()) * (other - other.mean())))
    # Noise that both have for themselves is no difference of the scene.
    left = [max(e - n, e / 2) for e, n in zip(energy, noise, strict=True)]
    correlation = shared / float(np.sqrt(left[0] * left[1]))
    if correlation < LEAST_CORRELATION:
        raise CannotError(
            f"it does not show this ground where it lies (correlation {max(correlation, 0):.2f}, "
            f"{LEAST_CORRELATION:g} is needed)"
        )


def loose_px(size: tuple[int, int]) -> float:
    """Return how far off a frame may lie that is given as aligned, px.

    >>> loose_px((6000, 4000)), loose_px((600, 400))
    (7.5, 1.5)
    """
    return max(_LOOSE_SHARE * max(size), _LEAST_LOOSE_PX)
