"""Both frames' light in cells of a few per cent of the width, and how far each can be compared."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from blendkit.filters.bands import gaussian
from blendkit.filters.resample import reduce_by
from blendkit.frame import Bool, Float

DARK = 2e-3
"""Light below this, of white, is noise and flare."""
_CELLS = 120
_SMOOTH_EV = 0.05


@dataclass(frozen=True, eq=False, slots=True)
class Cells:
    """Means in Gaussian windows.

    logs_b, logs_f: log2 of the mean light of both frames, float32 (h, w, 3).
    weight: how far they compare, float32 (h, w, 3).
    radial: r^2, r^4, r^6 averaged over the same windows, (h, w, 3).
    """

    logs_b: Float
    logs_f: Float
    weight: Float
    radial: NDArray[np.float64]


def make_cells(background: Float, aligned: Float, usable: Bool, window_share: float) -> Cells:
    """Average two aligned frames over what is usable.

    Parameters
    ----------
    background, aligned : ndarray
        Linear light, float32 (height, width, 3).
    usable : ndarray
        bool (height, width).
    window_share : float
        Sigma of the window, of the long side.
    """
    factor = max(max(usable.shape) // _CELLS, 1)
    share = reduce_by(usable.astype(np.float32), factor)
    width = window_share * max(share.shape)
    masked = [
        reduce_by(np.where(usable[..., None], pixels, np.float32(0)), factor)
        for pixels in (background, aligned)
    ]
    logs_b, logs_f = (_smooth_log(light, share, width) for light in masked)
    # At the rim a window holds only what lies inward: the radius must be averaged the same way.
    terms = reduce_by(radial_terms(usable.shape), factor)
    radial = _window_mean(terms * share[..., None], share, width).astype(np.float64)
    return Cells(logs_b, logs_f, _trust(logs_b, logs_f, share, width), radial)


def radial_terms(shape: tuple[int, ...]) -> Float:
    """Return r^2, r^4, r^6 at every px, r = 1 at the corner; float32 (height, width, 3).

    Examples
    --------
    >>> radial_terms((3, 5))[0, 0], radial_terms((3, 5))[1, 2]
    (array([1., 1., 1.], dtype=float32), array([0., 0., 0.], dtype=float32))
    """
    y = np.arange(shape[0], dtype=np.float32) - (shape[0] - 1) / 2
    x = np.arange(shape[1], dtype=np.float32) - (shape[1] - 1) / 2
    corner = max(float(y[-1] ** 2 + x[-1] ** 2), 1e-6)
    r2 = (y[:, None] ** 2 + x[None, :] ** 2) / corner
    return np.stack([r2, r2**2, r2**3], axis=-1).astype(np.float32)


def _window_mean(masked: Float, share: Float, width: float) -> Float:
    return gaussian(masked, width) / (gaussian(share, width)[..., None] + 1e-6)


def _smooth_log(masked: Float, share: Float, width: float) -> Float:
    """Return log2 of the mean light of usable pixels in a Gaussian window, (h, w, 3)."""
    mean = _window_mean(masked, share, width)
    return np.asarray(np.log2(np.maximum(mean, DARK)), np.float32)


def _trust(logs_b: Float, logs_f: Float, share: Float, width: float) -> Float:
    """Return the weight of each cell, (h, w, 3): usable, not dark, and locally smooth."""
    slopes = [np.hypot(*np.gradient(logs, axis=(0, 1))) * width for logs in (logs_b, logs_f)]
    contrast = np.maximum(*slopes)
    lit = np.minimum(logs_b, logs_f) > np.log2(DARK) + 1
    return np.asarray(share[..., None] * lit / (_SMOOTH_EV**2 + contrast**2), np.float32)
