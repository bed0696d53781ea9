"""Leaves of the foreground: stalks, blades lit from above, some of them shone through."""

from collections.abc import Sequence

import cv2
import numpy as np
from numpy.typing import NDArray

from blendkit.simulate.drawing.backdrop import Tint, leaf_shapes
from blendkit.simulate.drawing.canvas import Canvas, lay_over, linear_from_srgb, noise_field
from blendkit.simulate.drawing.strands import Path

GREENS: tuple[Tint, ...] = ((96, 122, 52), (122, 142, 64), (72, 100, 48), (150, 150, 70))
AUTUMN: tuple[Tint, ...] = ((176, 112, 40), (196, 140, 52), (150, 78, 36), (128, 112, 48))


def leaf_spots(
    paths: Sequence[Path], *, every_px: float, thinner_than_px: float, rng: np.random.Generator
) -> NDArray[np.float64]:
    """Return (n, 3) places x, y and direction for leaves along the thin parts of boughs."""
    found = []
    for path in paths:
        for index in range(1, len(path)):
            step = float(np.hypot(*(path[index, :2] - path[index - 1, :2])))
            if path[index, 2] > thinner_than_px or rng.uniform() > step / every_px:
                continue
            way = path[index, :2] - path[index - 1, :2]
            turn = np.arctan2(way[1], way[0]) + rng.choice([-1, 1]) * rng.uniform(0.2, 1.3)
            found.append((path[index, 0], path[index, 1], turn))
    return np.array(found).reshape(-1, 3)


def paint_leaves(
    canvas: Canvas,
    spots: NDArray[np.float64],
    *,
    length_px: float,
    tints: Sequence[Tint],
    rng: np.random.Generator,
    slender: float = 0.55,
) -> None:
    """Paint a leaf at each spot (x, y, direction), with a midrib and a shaded half."""
    height, width = canvas.coverage.shape
    paint = np.zeros((height, width, 4), np.uint8)
    size = length_px * rng.uniform(0.6, 1.3, len(spots))
    way = np.stack([np.cos(spots[:, 2]), np.sin(spots[:, 2])], axis=1)
    centres = spots[:, :2] + way * (0.62 * size)[:, None]
    blade = leaf_shapes(centres, size, spots[:, 2], slender)
    for index, outline in enumerate(blade):
        tint = np.array(tints[int(rng.integers(len(tints)))]) * rng.uniform(0.55, 1.3)
        stalk = np.rint(np.array([spots[index, :2], centres[index]]) * 16).astype(np.int32)
        cv2.polylines(
            paint,
            [stalk],
            isClosed=False,
            color=_rgba(0.6 * tint),
            thickness=1,
            lineType=cv2.LINE_AA,
            shift=4,
        )
        cv2.fillConvexPoly(paint, outline, _rgba(tint), cv2.LINE_AA, 4)
        cv2.fillPoly(paint, [outline[:5]], _rgba(0.78 * tint), cv2.LINE_AA, 4)
        rib = outline[[0, 4]]
        cv2.polylines(
            paint,
            [rib],
            isClosed=False,
            color=_rgba(1.25 * tint),
            thickness=1,
            lineType=cv2.LINE_AA,
            shift=4,
        )
    share = np.asarray(paint[..., 3], np.float32) / np.float32(255)
    straight = paint[..., :3].astype(np.float32) / 255 / np.maximum(share, 1e-3)[..., None]
    mottle = np.exp(0.12 * noise_field((height, width), 8 * canvas.unit_px, rng, octaves=2))
    light = linear_from_srgb(np.clip(straight, 0, 1)) * mottle[..., None]
    lay_over(canvas, (0, 0), light.astype(np.float32), share)


def _rgba(tint: NDArray[np.float64]) -> tuple[float, float, float, float]:
    red, green, blue = np.clip(tint, 0, 255)
    return float(red), float(green), float(blue), 255.0
