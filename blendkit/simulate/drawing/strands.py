"""Painting strands: boughs, twigs, hair, strings.  Anti-aliased, rounded, lit from one side."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from blendkit.frame import Float
from blendkit.simulate.drawing.canvas import Canvas, Color, lay_over, noise_field

Path = NDArray[np.float64]
"""A centre line: (n, 3) rows of x, y and full width, in canvas px."""


@dataclass(frozen=True, eq=False, slots=True)
class Bark:
    """How a strand's surface looks.

    shade, lit: linear colours away from and towards the light.
    light: direction (x, y, towards the viewer) to the light.
    texture: (128, 32) factors around 1, along and around the strand.
    """

    shade: Color
    lit: Color
    light: tuple[float, float, float]
    texture: Float


def bark(
    rng: np.random.Generator,
    *,
    shade: Color = (0.018, 0.015, 0.013),
    lit: Color = (0.16, 0.125, 0.09),
    light: tuple[float, float, float] = (-0.62, -0.42, 0.66),
    roughness: float = 0.35,
) -> Bark:
    """Return bark with fissures along the strand and lichen patches."""
    fissures = noise_field((128, 32), 6.0, rng, octaves=3)
    patches = noise_field((128, 32), 24.0, rng, octaves=2)
    texture = np.exp(roughness * (0.7 * fissures + 0.5 * patches)).astype(np.float32)
    return Bark(shade, lit, light, texture)


def smooth_path(points: Path, step_px: float) -> Path:
    """Return a Catmull-Rom curve through points, sampled about every step_px."""
    if len(points) < 3:
        return points
    padded = np.concatenate([2 * points[:1] - points[1:2], points, 2 * points[-1:] - points[-2:-1]])
    pieces = []
    for index in range(len(points) - 1):
        p0, p1, p2, p3 = padded[index : index + 4]
        length = float(np.hypot(*(p2 - p1)[:2]))
        count = max(1, int(length / step_px))
        t = (np.arange(count) / count)[:, None]
        a, b, c = 2 * p1, p2 - p0, 2 * p0 - 5 * p1 + 4 * p2 - p3
        pieces.append(0.5 * (a + b * t + c * t**2 + (3 * p1 - p0 - 3 * p2 + p3) * t**3))
    return np.concatenate([*pieces, points[-1:]])


def paint_strands(canvas: Canvas, paths: Sequence[Path], surface: Bark) -> None:
    """Paint paths in the order given, later ones over earlier ones."""
    height, width = canvas.coverage.shape
    for path in paths:
        reach = path[:, 2].max() / 2 + 2
        x0, y0 = np.floor(path[:, :2].min(axis=0) - reach).astype(int)
        x1, y1 = np.ceil(path[:, :2].max(axis=0) + reach).astype(int) + 1
        x0, y0, x1, y1 = max(x0, 0), max(y0, 0), min(x1, width), min(y1, height)
        if x0 < x1 and y0 < y1:
            moved = path - np.array([x0, y0, 0.0])
            color, covered = _strand((y1 - y0, x1 - x0), moved, surface)
            lay_over(canvas, (x0, y0), color, covered)


def _strand(shape: tuple[int, int], path: Path, surface: Bark) -> tuple[Float, Float]:
    """Return colour and coverage of one strand; its pieces join by the greater coverage."""
    color = np.zeros((*shape, 3), np.float32)
    covered = np.zeros(shape, np.float32)
    nearest = np.full(shape, np.inf, np.float32)
    lengths = np.hypot(*np.diff(path[:, :2], axis=0).T)
    along = np.concatenate([[0.0], np.cumsum(lengths)])
    for index in range(len(path) - 1):
        layers = (color, covered, nearest)
        _paint_piece(layers, path[index], path[index + 1], float(along[index]), surface)
    return color, covered


def _paint_piece(
    layers: tuple[Float, Float, Float], start: Path, end: Path, along_px: float, surface: Bark
) -> None:
    """Paint one tapered piece with round ends into colour, coverage and distance, in place.

    distance is that from the centre line in half widths: where pieces meet, the nearest shows.
    """
    color, covered, nearest = layers
    reach = max(start[2], end[2]) / 2 + 1
    x0, y0 = np.floor(np.minimum(start[:2], end[:2]) - reach).astype(int)
    x1, y1 = np.ceil(np.maximum(start[:2], end[:2]) + reach).astype(int) + 1
    x0, y0 = max(x0, 0), max(y0, 0)
    if x1 <= x0 or y1 <= y0:
        return
    before = covered[y0:y1, x0:x1]
    if before.size == 0:
        return
    dx, dy = end[0] - start[0], end[1] - start[1]
    length = max(float(np.hypot(dx, dy)), 1e-6)
    x = np.arange(x0, x0 + before.shape[1], dtype=np.float32)[None, :] - np.float32(start[0])
    y = np.arange(y0, y0 + before.shape[0], dtype=np.float32)[:, None] - np.float32(start[1])
    forward = (x * dx + y * dy) / length
    side = (y * dx - x * dy) / length
    at = np.clip(forward / length, 0, 1)
    half = 0.5 * (start[2] + at * (end[2] - start[2]))
    off = np.hypot(forward - at * length, side)
    here = np.clip(off + 0.5, -half, half) - np.clip(off - 0.5, -half, half)
    axis = off / np.maximum(half, 0.3)
    better = (here > 0) & (axis < nearest[y0:y1, x0:x1])
    np.maximum(before, here, out=before, casting="same_kind")
    if not better.any():
        return
    nearest[y0:y1, x0:x1][better] = axis[better]
    across = np.clip(side / np.maximum(half, 0.3), -0.98, 0.98)[better]
    way = (dx / length, dy / length)
    shaded = _shaded(surface, along_px + forward[better], across, half[better], way)
    color[y0:y1, x0:x1][better] = shaded


def _shaded(
    surface: Bark, along: Float, across: Float, half: Float, direction: tuple[float, float]
) -> Float:
    """Return colours of a lit cylinder with bark."""
    lx, ly, lz = surface.light
    sideways = -direction[1] * lx + direction[0] * ly
    lambert = np.clip(across * sideways + np.sqrt(1 - across**2) * lz, 0, 1)
    around = (np.arcsin(across) / np.pi + 0.5) * 31
    rows = (along * 0.45 / np.maximum(half, 2.0) * 8).astype(int) % surface.texture.shape[0]
    grain = surface.texture[rows, around.astype(int)]
    shade, lit = np.array(surface.shade), np.array(surface.lit)
    mixed = shade + (lit - shade) * (lambert**1.3)[:, None]
    return np.asarray(mixed * grain[:, None], np.float32)
