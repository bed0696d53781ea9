"""The rule of tapering: away from one sharp part of a surface, blur may only grow."""

from typing import Literal

import numpy as np
from numpy.typing import NDArray

from blendkit.frame import Float
from blendkit.midground.soft_ground import Ground

SharpPart = Literal["near", "far"]
_STEPS = 64


def tapered_disc_px(ground: Ground, kept: SharpPart = "near") -> Float:
    """Return the disc that lets blur grow monotonically away from one sharp part.

    Parameters
    ----------
    ground : Ground
    kept : the part that stays as it is: "near", the foreground frame's, or "far", the background
        frame's, where a sitter in focus may stand.

    Returns
    -------
    ndarray
        float32, the map's shape: the largest disc met between here and the kept part, found along
        the order in depth; on the kept part's other side the surface's own disc.
    """
    away, disc, here = _away_from(ground, kept), ground.disc_px, ground.surface.region
    levels, largest = _largest_by_level(away[here], disc[here])
    wanted = np.interp(away, levels, largest)
    return np.asarray(np.where(away > 0, np.maximum(wanted, disc), disc), np.float32)


def _away_from(ground: Ground, kept: SharpPart) -> Float:
    """Return how far a place lies from the kept part, as a difference of signed discs, px."""
    x = ground.nearness
    if kept == "far":
        # The background frame's focus, or the farthest that the surface shows if that is nearer.
        return np.asarray(x - max(0.0, float(x[ground.surface.region].min())), np.float32)
    front = x[ground.surface.region & (ground.pasted > 0.5)]
    return np.asarray(float(np.median(front)) - x, np.float32)


def _largest_by_level(away: Float, disc: Float) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Return levels of distance from the kept part, and the largest disc on the way to each."""
    levels = np.linspace(0, max(float(away.max()), 1e-3), _STEPS + 1)
    place = np.minimum(np.digitize(away, levels) - 1, _STEPS - 1)
    usual = np.array(
        [np.median(disc[place == k]) if (place == k).any() else 0.0 for k in range(_STEPS)]
    )
    return (levels[:-1] + levels[1:]) / 2, np.maximum.accumulate(usual)
