"""Rounded shapes: smooth outlines filled with a colour that turns dark away from the light."""

import cv2
import numpy as np
from numpy.typing import ArrayLike, NDArray

from blendkit.frame import Float
from blendkit.simulate.drawing.canvas import Canvas, Color, lay_over

Outline = NDArray[np.float64]
"""(n, 2) corners, x and y in canvas px."""


def smooth_outline(points: ArrayLike, *, steps: int = 8) -> Outline:
    """Return a closed Catmull-Rom curve through points (n, 2)."""
    knots = np.asarray(points, np.float64)
    t = (np.arange(steps) / steps)[:, None]
    pieces = []
    for index in range(len(knots)):
        p0, p1, p2, p3 = (knots[(index + step) % len(knots)] for step in (-1, 0, 1, 2))
        a, b, c = 2 * p1, p2 - p0, 2 * p0 - 5 * p1 + 4 * p2 - p3
        pieces.append(0.5 * (a + b * t + c * t**2 + (3 * p1 - p0 - 3 * p2 + p3) * t**3))
    return np.concatenate(pieces)


def ellipse_outline(
    centre: tuple[float, float], axes: tuple[float, float], turn_rad: float = 0.0
) -> Outline:
    """Return an ellipse with the given diameters, turned clockwise on the screen."""
    t = np.linspace(0, 2 * np.pi, 40, endpoint=False)
    x, y = axes[0] / 2 * np.cos(t), axes[1] / 2 * np.sin(t)
    cos, sin = np.cos(turn_rad), np.sin(turn_rad)
    return np.stack([centre[0] + x * cos - y * sin, centre[1] + x * sin + y * cos], axis=1)


def fill(
    canvas: Canvas,
    outline: Outline,
    color: Color,
    *,
    round_px: float,
    relief: float = 1.0,
    light: tuple[float, float] = (-0.75, -0.5),
    texture: Float | None = None,
    opacity: float = 1.0,
    soft_px: float = 0.0,
) -> None:
    """Fill an outline as a solid whose edge turns away over round_px.

    relief: strength of the shading; texture: factors (H, W) of the whole canvas; soft_px blurs the
    edge, for cheeks, shadows and folds.
    """
    box = _box(canvas, outline, round_px + 2 * soft_px)
    if box is None:
        return
    x0, y0, x1, y1 = box
    stencil = np.zeros((y1 - y0, x1 - x0), np.uint8)
    corners = np.rint((outline - (x0, y0)) * 16).astype(np.int32)
    cv2.fillPoly(stencil, [corners], 255, cv2.LINE_AA, 4)
    mask = np.asarray(stencil / 255, np.float32)
    if soft_px > 0:
        mask = np.asarray(cv2.GaussianBlur(mask, (0, 0), soft_px), np.float32)
    shade = _relief(mask, round_px, relief, light)
    if texture is not None:
        shade = shade * texture[y0:y1, x0:x1]
    painted = shade[..., None] * np.array(color, np.float32)
    lay_over(canvas, (x0, y0), painted.astype(np.float32), mask * np.float32(opacity))


def _box(canvas: Canvas, outline: Outline, reach: float) -> tuple[int, int, int, int] | None:
    height, width = canvas.coverage.shape
    x0, y0 = np.floor(outline.min(axis=0) - reach - 2).astype(int)
    x1, y1 = np.ceil(outline.max(axis=0) + reach + 2).astype(int)
    x0, y0, x1, y1 = max(int(x0), 0), max(int(y0), 0), min(int(x1), width), min(int(y1), height)
    return (x0, y0, x1, y1) if x0 < x1 and y0 < y1 else None


def _relief(mask: Float, round_px: float, relief: float, light: tuple[float, float]) -> Float:
    """Return shading factors around 1: the blurred mask is taken for a hill lit from one side."""
    hill = cv2.GaussianBlur(mask, (0, 0), max(round_px, 0.6)) * 2 * max(round_px, 0.6)
    slope_x = cv2.Sobel(hill, cv2.CV_32F, 1, 0, scale=1 / 8)
    slope_y = cv2.Sobel(hill, cv2.CV_32F, 0, 1, scale=1 / 8)
    toward = -(slope_x * light[0] + slope_y * light[1])
    return np.asarray(np.clip(1 + 1.1 * relief * toward, 0.25, 1.8), np.float32)
