"""Uneven wind: boughs that bend between the frames, twigs here more than limbs there."""

from dataclasses import replace

import cv2
import numpy as np

from blendkit.frame import Float
from blendkit.simulate.drawing.canvas import noise_field, unit_for
from blendkit.simulate.scene import Layer, Scene


def blown(scene: Scene, gust_px: float, *, seed: int) -> Scene:
    """Return the scene with its foreground bent by up to about 2 gust_px, 1 gust_px RMS.

    The displacement varies smoothly over a third of the frame.  Bending resamples the layer once
    more than a plain movement does.
    """
    if gust_px == 0:
        return scene
    rng = np.random.default_rng(seed)
    layers = [
        _bent(layer, _displacement(layer, scene, gust_px, rng))
        if layer.role == "foreground"
        else layer
        for layer in scene.layers
    ]
    return replace(scene, layers=tuple(layers))


def _displacement(layer: Layer, scene: Scene, gust_px: float, rng: np.random.Generator) -> Float:
    """Return displacements (H, W, 2) in px whose RMS length is gust_px."""
    cell = 260 * unit_for(scene.size)
    fields = [noise_field(layer.coverage.shape, cell, rng, octaves=1) for _ in range(2)]
    field = np.stack(fields, axis=2)
    return np.asarray(field * gust_px / np.sqrt((field**2).sum(axis=2).mean()), np.float32)


def _bent(layer: Layer, displacement: Float) -> Layer:
    height, width = layer.coverage.shape
    x = np.arange(width, dtype=np.float32)[None, :] - displacement[..., 0]
    y = np.arange(height, dtype=np.float32)[:, None] - displacement[..., 1]
    light = _sampled(layer.color * layer.coverage[..., None], x, y)
    coverage = np.clip(_sampled(layer.coverage, x, y), 0, 1)
    color = np.maximum(light, 0) / np.maximum(coverage, 1e-3)[..., None]
    return replace(layer, color=color.astype(np.float32), coverage=coverage)


def _sampled(picture: Float, x: Float, y: Float) -> Float:
    taken = cv2.remap(picture, x, y, cv2.INTER_LANCZOS4, borderMode=cv2.BORDER_REFLECT_101)
    return np.asarray(taken, np.float32)
