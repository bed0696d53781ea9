"""Light: the gain and fall-off ratio that bring the foreground frame into the background's light.

Only the *ratio* of the frames can be seen, and only the ratio is needed.  Per channel it is a gain;
over the picture it is an even radial polynomial, shared by the channels, because a fast lens wide
open loses 0.5 to 2 stops in the corners and hardly any stopped down (Goldman 2010, IEEE TPAMI
32(12), doi:10.1109/TPAMI.2010.55).

The frames differ in blur, so single pixels do not compare.  Means over a few per cent of the width
do, where the picture is smooth: weights fall with the local contrast, and Tukey's weights drop what
differs for another reason (a moved bough, a veil, a cloud's shadow).
"""

import numpy as np
from numpy.typing import NDArray

from blendkit.alignment import Light
from blendkit.filters.bands import gaussian
from blendkit.filters.resample import reduce_by
from blendkit.filters.robust import tukey_weights, weighted_median
from blendkit.frame import Bool, Float, Frame
from blendkit.settings import LightSettings

_CELLS = 240
_DARK = 2e-3
_RIDGE = np.array([0.002, 0.02, 0.05])


def fit_light(
    background: Frame,
    aligned: Float,
    usable: Bool,
    settings: LightSettings,
) -> Light:
    """Fit gain and fall-off ratio.

    Parameters
    ----------
    background : Frame
        The frame whose light is kept.
    aligned : ndarray
        The foreground frame on the background grid, float32 (height, width, 3), its own light.
    usable : ndarray
        bool (height, width): False where it is not covered, clipped, or painted as foreground.
    settings : LightSettings
        Uses window_share, largest_falloff_ev.

    Returns
    -------
    Light
        EV to add to the foreground frame; residual_ev is the weighted median left.
    """
    factor = max(max(usable.shape) // _CELLS, 1)
    share = reduce_by(usable.astype(np.float32), factor)
    width = settings.window_share * max(share.shape)
    logs_b, logs_f = (
        _smooth_log(reduce_by(np.where(usable[..., None], p, 0), factor), share, width)
        for p in (background.pixels, aligned)
    )
    weight = _trust(logs_b, logs_f, share, width)
    difference = logs_b - logs_f
    fitted, residual = _robust_fit(difference, weight, radius_squared(share.shape))
    gain, falloff = fitted[:3], fitted[3:]
    return Light(
        gain_ev=(float(gain[0]), float(gain[1]), float(gain[2])),
        falloff_ev=(float(falloff[0]), float(falloff[1]), float(falloff[2])),
        residual_ev=residual,
    )


def apply_light(pixels: Float, light: Light) -> Float:
    """Return the foreground frame, on the background grid, in the background frame's light.

    pixels: float32 (height, width, 3), linear; result: the same shape.
    """
    gain = np.exp2(np.asarray(light.gain_ev, np.float32))
    r2 = radius_squared(pixels.shape)
    k1, k2, k3 = light.falloff_ev
    radial = np.exp2(r2 * (k1 + r2 * (k2 + r2 * k3))).astype(np.float32)
    return np.asarray(pixels * gain * radial[..., None], np.float32)


def radius_squared(shape: tuple[int, ...]) -> Float:
    """Return the squared distance from the centre, 1 at the corner pixels; (height, width).

    Examples
    --------
    >>> radius_squared((3, 5))[0, 0], radius_squared((3, 5))[1, 2]
    (np.float32(1.0), np.float32(0.0))
    """
    y = np.arange(shape[0], dtype=np.float32) - (shape[0] - 1) / 2
    x = np.arange(shape[1], dtype=np.float32) - (shape[1] - 1) / 2
    corner = max(float(y[-1] ** 2 + x[-1] ** 2), 1e-6)
    return np.asarray((y[:, None] ** 2 + x[None, :] ** 2) / corner, np.float32)


def _smooth_log(masked: Float, share: Float, width: float) -> Float:
    """Return log2 of the mean light of usable pixels in a Gaussian window, (h, w, 3)."""
    mean = gaussian(masked, width) / (gaussian(share, width)[..., None] + 1e-6)
    return np.asarray(np.log2(np.maximum(mean, _DARK)), np.float32)


def _trust(logs_b: Float, logs_f: Float, share: Float, width: float) -> Float:
    """Return the weight of each cell, (h, w, 3): usable, not dark, and locally smooth."""
    slopes = [np.hypot(*np.gradient(logs, axis=(0, 1))) * width for logs in (logs_b, logs_f)]
    contrast = np.maximum(*slopes)
    lit = np.minimum(logs_b, logs_f) > np.log2(_DARK) + 1
    return np.asarray(share[..., None] * lit / (0.05**2 + contrast**2), np.float32)


def _robust_fit(difference: Float, weight: Float, r2: Float) -> tuple[NDArray[np.float64], float]:
    """Fit three gains and three radial coefficients by reweighted least squares."""
    rows = _design(r2)
    values, weights = difference.reshape(-1).astype(np.float64), weight.reshape(-1)
    fitted = np.zeros(6)
    fitted[:3] = [_median(difference[..., c], weight[..., c]) for c in range(3)]
    for _ in range(15):
        residual = values - rows @ fitted
        spread = weighted_median(np.abs(residual), weights + 1e-12)
        active = weights * tukey_weights(residual, max(5 * spread, 0.01))
        scaled = rows * active[:, None]
        normal = scaled.T @ rows / (active.sum() + 1e-12)
        normal[3:, 3:] += np.diag(_RIDGE * 0.01)
        right = scaled.T @ values / (active.sum() + 1e-12)
        fitted = np.linalg.solve(normal + 1e-9 * np.eye(6), right)
    return fitted, weighted_median(np.abs(values - rows @ fitted), active + 1e-12)


def _median(values: Float, weights: Float) -> float:
    return weighted_median(values.ravel(), weights.ravel() + 1e-12)


def _design(r2: Float) -> NDArray[np.float64]:
    """Return one row per cell and channel: gain r, g, b; r^2, r^4, r^6."""
    flat = r2.reshape(-1, 1).astype(np.float64)
    radial = np.hstack([flat, flat**2, flat**3])
    rows = np.zeros((flat.shape[0], 3, 6))
    rows[:, :, 3:] = radial[:, None, :]
    rows[:, range(3), range(3)] = 1
    return rows.reshape(-1, 6)
