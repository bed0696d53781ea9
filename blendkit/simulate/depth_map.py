"""A real scene with real depth, cut into layers: scikit-image's motorcycle (Middlebury 2014).

Scharstein et al. 2014, "High-resolution stereo datasets with subpixel-accurate ground truth".
"""

from itertools import pairwise

import cv2
import numpy as np
from skimage import data

from blendkit.frame import Bool, Float
from blendkit.simulate.drawing.canvas import blank, linear_from_srgb, unit_for
from blendkit.simulate.scene import Layer, Role, Scene

FOCAL_PX, BASELINE_M, OFFSET_PX = 994.978, 0.193001, 31.086
"""Calibration of the left picture; depth = focal x baseline / (disparity + offset)."""


def motorcycle(*, slices: int = 10, foreground_nearer_than_m: float = 2.6) -> Scene:
    """Return the left picture as layers of even steps in 1/depth, about 2.1 to 5.0 m.

    Layers nearer than foreground_nearer_than_m are foreground, the others background; the room
    behind each layer is filled in from what surrounds it at that depth or beyond.
    """
    left, _, disparity = data.stereo_motorcycle()
    color = linear_from_srgb(left.astype(np.float32) / 255)
    nearness = 1 / _depth_m(disparity)
    size = (color.shape[1], color.shape[0])
    margin = blank(size, unit_for(size)).margin_px
    edges = np.linspace(nearness.min(), nearness.max() * 1.0001, slices + 1)
    layers: list[Layer] = []
    for far, near in pairwise(edges.tolist()):
        here = (nearness >= far) & (nearness < near)
        distance = 2 / (far + near)
        role: Role = "foreground" if distance < foreground_nearer_than_m else "background"
        shown = _filled(color, here, beyond=nearness < near)
        whole = here if layers else np.ones_like(here)
        coverage = _grown(whole, nearness >= near)
        canvas = _padded(shown, margin), _padded(coverage, margin)
        layers.append(Layer(*canvas, distance, role, f"slice-{len(layers)}"))
    return Scene(tuple(layers), size, margin, "motorcycle")


def _depth_m(disparity: Float) -> Float:
    """Return depth of every px, holes in the disparity filled from the farther neighbour."""
    valid = np.isfinite(disparity) & (disparity > 0)
    known = np.where(valid, disparity, np.inf).astype(np.float32)
    while not np.isfinite(known).all():
        spread = cv2.erode(known, np.ones((5, 5), np.uint8), borderValue=np.inf)
        known = np.where(np.isfinite(known), known, spread).astype(np.float32)
    calm = cv2.medianBlur(cv2.medianBlur(known, 5), 5)
    return np.asarray(FOCAL_PX * BASELINE_M / (calm + OFFSET_PX), np.float32)


def _filled(color: Float, here: Bool, *, beyond: Bool) -> Float:
    """Return colour everywhere: own px, else what lies near at this depth, else beyond it."""
    shown = _spread(color, here)
    behind = _spread(color, beyond)
    near = _blurred(here.astype(np.float32), 12)[..., None]
    share = np.clip(near / 0.05, 0, 1)
    mixed = share * shown + (1 - share) * behind
    return np.where(here[..., None], color, mixed).astype(np.float32)


def _spread(color: Float, known: Bool) -> Float:
    """Fill unknown px by normalised convolution from fine to coarse."""
    filled = np.where(known[..., None], color, 0).astype(np.float32)
    done = known.astype(np.float32)
    for sigma in (3, 9, 27, 81):
        weight = _blurred(known.astype(np.float32), sigma)[..., None]
        light = _blurred(color * known[..., None], sigma)
        usable = (weight > 0.02) & (done[..., None] < 0.5)
        filled = np.where(usable, light / np.maximum(weight, 1e-6), filled)
        done = np.maximum(done, usable[..., 0])
    mean = color[known].mean(axis=0) if known.any() else color.mean(axis=(0, 1))
    return np.where(done[..., None] < 0.5, mean, filled).astype(np.float32)


def _blurred(picture: Float, sigma_px: float) -> Float:
    """Blur by a Gaussian, wide ones at a reduced scale."""
    shrink = max(1, int(sigma_px / 3))
    size = (picture.shape[1], picture.shape[0])
    small = cv2.resize(
        picture, (size[0] // shrink, size[1] // shrink), interpolation=cv2.INTER_AREA
    )
    soft = cv2.GaussianBlur(small, (0, 0), sigma_px / shrink)
    return np.asarray(cv2.resize(soft, size, interpolation=cv2.INTER_LINEAR), np.float32)


def _grown(visible: Bool, hidden: Bool) -> Float:
    """Let a layer reach 6 px behind what hides it, and soften its edge by a px."""
    reach = cv2.dilate(visible.astype(np.uint8), np.ones((13, 13), np.uint8)) > 0
    whole = visible | (reach & hidden)
    return np.asarray(cv2.GaussianBlur(whole.astype(np.float32), (0, 0), 0.6), np.float32)


def _padded(picture: Float, margin: int) -> Float:
    around = (margin, margin, margin, margin)
    return np.asarray(cv2.copyMakeBorder(picture, *around, cv2.BORDER_REFLECT_101), np.float32)
