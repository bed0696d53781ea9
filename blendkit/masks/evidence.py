"""What the matte network looks at: one stack of planes from both frames, the hint and a prior.

The same function feeds training and use.  Light enters as a square root, scaled by one factor for
the frame so that its median luminance is 0.18: the network sees neither exposure nor units.
"""

import numpy as np

from blendkit.frame import Float, luminance

PLANES = 9
"""sqrt light of the foreground frame (3) and the background frame (3), hint, prior, grain."""
NO_PRIOR = 0.5
_MIDDLE_GREY = 0.18
_GRAIN_SCALE = 20.0


def exposure_scale(background: Float) -> float:
    """Return the factor that brings the median luminance of a frame to middle grey."""
    return float(_MIDDLE_GREY / max(float(np.median(luminance(background[::8, ::8]))), 1e-3))


def network_planes(
    background: Float, foreground: Float, hint: Float, prior: Float, grain: float, scale: float
) -> Float:
    """Stack the planes.

    Parameters
    ----------
    background, foreground : ndarray
        Linear light on one grid, float32 (height, width, 3).
    hint : ndarray
        1 where foreground may stand (a rough mask), 0 where it does not, float32 (height, width).
    prior : ndarray
        Matte from a smaller scale, 0 to 1, or NO_PRIOR everywhere.
    grain : float
        Standard deviation of the foreground frame's noise at middle grey, linear light.
    scale : float
        From `exposure_scale`.

    Returns
    -------
    ndarray
        float32 (PLANES, height, width).
    """
    planes = np.empty((PLANES, *hint.shape), np.float32)
    for first, pixels in ((0, foreground), (3, background)):
        root = np.sqrt(np.clip(pixels * scale, 0, 4))
        planes[first : first + 3] = np.moveaxis(root, 2, 0) - 0.5
    planes[6] = hint
    planes[7] = prior - NO_PRIOR
    planes[8] = min(grain * scale * _GRAIN_SCALE, 2.0)
    return planes
