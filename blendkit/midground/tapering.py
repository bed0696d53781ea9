"""The rule of tapering: from the sharp part on, blur may only grow."""

import numpy as np
from numpy.typing import NDArray

from blendkit.frame import Float
from blendkit.midground.soft_ground import Ground

_STEPS = 64


def tapered_disc_px(ground: Ground) -> Float:
    """Return the disc that lets blur grow monotonically away from the near sharp part.

    Parameters
    ----------
    ground : Ground

    Returns
    -------
    ndarray
        float32, the map's shape: the largest disc met between here and the near sharp part, found
        along the order in depth; nearer than that part the surface's own disc.
    """
    x, disc = ground.nearness, ground.disc_px
    here = ground.surface.region
    start = float(np.median(x[here & (ground.pasted > 0.5)]))
    levels, largest = _largest_by_level(x[here], disc[here], start)
    wanted = np.interp(np.clip(x, levels[0], levels[-1]), levels, largest)
    return np.asarray(np.where(x < start, np.maximum(wanted, disc), disc), np.float32)


def _largest_by_level(
    x: Float, disc: Float, start: float
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Return levels of depth from far to `start`, and the largest disc from `start` to each."""
    levels = np.linspace(float(x.min()), start, _STEPS + 1)
    place = np.clip(np.digitize(x, levels) - 1, 0, _STEPS - 1)
    usual = np.array(
        [np.median(disc[place == k]) if (place == k).any() else 0.0 for k in range(_STEPS)]
    )
    largest = np.maximum.accumulate(usual[::-1])[::-1]
    return (levels[:-1] + levels[1:]) / 2, largest
