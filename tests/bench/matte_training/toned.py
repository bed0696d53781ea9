"""Boughs that carry something along one side: snow, moss, bloom, or sun.

A network that has seen bark of one colour takes the white top for the whole bough, and its dark
underside for the woods behind.
"""

import cv2
import numpy as np

from blendkit.frame import Float

_THIN_PX, _THICK_PX = 1.5, 16.0


def topped(color: Float, cover: Float, field: Float, rng: np.random.Generator) -> Float:
    """Return boughs with another colour on what faces one side, as deep as one draw for all.

    Twigs thinner than that have it all over.

    Parameters
    ----------
    color, cover : ndarray
        Colour (h, w, 3) and coverage (h, w).
    field : ndarray
        Noise (h, w), zero mean, unit deviation: where it lies thicker, and where it fell off.
    rng : Generator
    """
    depth_px = np.exp(rng.uniform(np.log(_THIN_PX), np.log(_THICK_PX)))
    angle = -np.pi / 2 + rng.normal(0, 0.4)
    away = depth_px * np.array([np.cos(angle), np.sin(angle)])
    steps = max(int(np.ceil(depth_px / _THIN_PX)), 1)
    open_ = np.zeros_like(cover)
    for step in range(1, steps + 1):
        off = away * step / steps
        move = np.float32([[1, 0, -off[0]], [0, 1, -off[1]]])
        beyond = cv2.warpAffine(cover, move, cover.shape[::-1], borderMode=cv2.BORDER_REPLICATE)
        np.maximum(open_, 1 - beyond, out=open_)
    lies = np.clip((field + rng.uniform(0.3, 2.5)) * rng.uniform(2, 20), 0, 1)
    share = (open_ * lies)[..., None]
    light = np.exp(rng.uniform(np.log(0.02), 0)) * np.exp(rng.normal(0, rng.uniform(0.05, 0.5), 3))
    rough = np.exp(rng.uniform(0.02, 0.25) * field)[..., None]
    return np.asarray(color * (1 - share) + light * rough * share, np.float32)
