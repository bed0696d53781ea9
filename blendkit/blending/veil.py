"""The veil: the sharp foreground of one frame, blurred as the other frame saw it."""

from collections.abc import Sequence

import cv2
import numpy as np

from blendkit.blending import BoughGroup, Veil
from blendkit.filters.disc import disc_blur
from blendkit.frame import Float


def make_veil(matte: Float, color: Float, groups: Sequence[BoughGroup]) -> Veil:
    """Blur the foreground with each group's disc at its displaced place.

    Parameters
    ----------
    matte : ndarray
        float32 (height, width), 0 to 1.
    color : ndarray
        Straight foreground colour, float32 (height, width, 3), linear.
    groups : sequence of BoughGroup

    Returns
    -------
    Veil
        Boughs that leave the frame are taken to go on beyond it (their rim pixels repeat).
    """
    layers = np.dstack([color * matte[..., None], matte]).astype(np.float32)
    total = np.zeros_like(layers)
    for group in groups:
        part = layers if len(groups) == 1 else layers * group.share[..., None]
        total += shifted(
            disc_blur(part, group.disc_px, border=cv2.BORDER_REPLICATE), group.shift_px
        )
    return Veil(np.clip(total[..., 3], 0, 1), np.maximum(total[..., :3], 0))


def shifted(values: Float, shift_px: tuple[float, float]) -> Float:
    """Return an array moved by (x, y) px; its rim repeats."""
    if shift_px == (0.0, 0.0):
        return values
    matrix = np.array([[1, 0, shift_px[0]], [0, 1, shift_px[1]]], np.float64)
    size = (values.shape[1], values.shape[0])
    moved = cv2.warpAffine(values, matrix, size, borderMode=cv2.BORDER_REPLICATE)
    return np.asarray(moved, np.float32)
