"""Backgrounds of trees: trunks and foliage at several scales under a strip of sky."""

import cv2
import numpy as np

from blendkit.frame import Float
from blendkit.simulate.canvas import Canvas, Color, linear_from_srgb, noise_field


def sky(canvas: Canvas, *, top: Color, horizon: Color, level: float = 0.7) -> None:
    """Fill the canvas with a gradient that reaches the horizon's colour at a share of the height."""
    height = canvas.coverage.shape[0]
    t = np.clip(np.arange(height, dtype=np.float32) / (height * level), 0, 1)[:, None, None]
    canvas.color[:] = (1 - t) * np.array(top, np.float32) + t * np.array(horizon, np.float32)
    canvas.coverage[:] = 1


def woods(canvas: Canvas, rng: np.random.Generator, *, warmth: float = 0.5) -> None:
    """Fill the canvas with woods in three planes, the far ones paler."""
    sky(canvas, top=(0.42, 0.5, 0.62), horizon=(0.8, 0.72, 0.58), level=0.5)
    for depth in (0.0, 0.5, 1.0):
        pale = 1 - depth
        _trunks(canvas, rng, depth=depth)
        color = (
            0.05 + 0.16 * pale + 0.05 * warmth,
            0.075 + 0.16 * pale,
            0.03 + 0.15 * pale,
        )
        _foliage(canvas, rng, color, dabs=int(1500 + 1200 * depth), size=5 + 6 * depth)
    canvas.coverage[:] = 1


def _trunks(canvas: Canvas, rng: np.random.Generator, *, depth: float) -> None:
    height, width = canvas.coverage.shape
    unit = canvas.unit_px
    layer = np.zeros((height, width), np.uint8)
    for _ in range(int((5 + 6 * (1 - depth)) * width / (1200 * unit)) + 1):
        x = rng.uniform(0, width)
        thick = unit * rng.uniform(6, 14) * (1 + 2 * depth)
        lean = rng.normal(0, 0.04) * height
        corners = [(x, height), (x + thick, height), (x + lean + 0.6 * thick, 0), (x + lean, 0)]
        shape = (np.array(corners) * 16).astype(np.int32)
        cv2.fillPoly(layer, [shape], 255, cv2.LINE_AA, 4)
    tone = np.exp(0.3 * noise_field((height, width), 18 * unit, rng)) * (0.03 + 0.09 * (1 - depth))
    color = tone[..., None] * np.array([1.0, 0.88, 0.74], np.float32)
    share = (layer.astype(np.float32) / 255)[..., None]
    canvas.color[:] = canvas.color * (1 - share) + color * share


def _foliage(
    canvas: Canvas, rng: np.random.Generator, color: Color, *, dabs: int, size: float
) -> None:
    """Lay dabs of leaves where a smooth field is high, so that gaps to the sky remain."""
    height, width = canvas.coverage.shape
    unit = canvas.unit_px
    field = noise_field((height, width), 160 * unit, rng, octaves=3)
    lower = np.linspace(-0.9, 1.3, height, dtype=np.float32)[:, None]
    dense = field + lower
    count = int(dabs * 2.2 * height * width / (1200 * 800 * unit**2))
    spots = rng.uniform(0, 1, (count, 2)) * (width, height)
    keep = dense[spots[:, 1].astype(int), spots[:, 0].astype(int)] > rng.normal(0, 0.35, count)
    spots = spots[keep]
    paint = np.zeros((height, width, 4), np.uint8)
    for x, y in spots:
        bright = 255 * np.clip(rng.normal(0.55, 0.16), 0.15, 1)
        axes = unit * size * rng.uniform(0.5, 1.4) * np.array([1.0, rng.uniform(0.35, 0.8)])
        hue = rng.uniform(0.75, 1.0)
        value = (bright, bright * rng.uniform(0.85, 1.0), bright * hue, 255.0)
        box = ((float(x), float(y)), (float(axes[0] * 2), float(axes[1] * 2)), rng.uniform(0, 180))
        cv2.ellipse(paint, box, value, -1, cv2.LINE_AA)
    _blend(canvas, paint, color)


def _blend(canvas: Canvas, paint: Float, color: Color) -> None:
    share = paint[..., 3:].astype(np.float32) / 255
    tone = linear_from_srgb(paint[..., :3].astype(np.float32) / 255) / 0.26
    canvas.color[:] = canvas.color * (1 - share) + tone * np.array(color, np.float32) * share
