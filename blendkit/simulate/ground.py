"""Ground that recedes: one plane cut into many slices of depth, with boughs and a sitter on it."""

import numpy as np
from numpy.typing import NDArray

from blendkit.frame import Float
from blendkit.simulate.drawing import backgrounds
from blendkit.simulate.drawing.boughs import ForkStyle, grow_bough
from blendkit.simulate.drawing.canvas import Canvas, blank, noise_field, unit_for
from blendkit.simulate.drawing.sitter import cellist
from blendkit.simulate.drawing.strands import bark, paint_strands
from blendkit.simulate.scene import Layer, Scene

Size = tuple[int, int]
SITTER_M = 6.0


def receding_ground(
    seed: int = 0,
    size: Size = (1200, 800),
    *,
    unit_px: float | None = None,
    sitter: bool = True,
    slices: int = 18,
    nearest_m: float = 3.4,
    farthest_m: float = 40.0,
    horizon: float = 0.45,
) -> Scene:
    """Return a paved yard from nearest_m to farthest_m, hills behind, a bough in front.

    The ground's depth follows from its row: d = nearest (rows from horizon to bottom) / (rows from
    the horizon), the perspective of level ground.  Its slices meet without gaps.
    """
    rng = np.random.default_rng(seed)
    unit = unit_px or unit_for(size)
    back = backgrounds.hills(size, unit, rng)
    surface = _paving(back, size, horizon, rng)
    layers = [back.layer(farthest_m * 1.5, "background", "hills")]
    layers += _slices(surface, back, size, horizon, np.geomspace(farthest_m, nearest_m, slices + 1))
    if sitter:
        foot = horizon + nearest_m * (1 - horizon) / SITTER_M
        tall = (foot - 0.2) * size[1] / min(size[1], 1.2 * size[0]) / 1.03
        figure = cellist(
            size, unit, rng, centre=float(rng.uniform(0.42, 0.58)), top=0.2, height=tall
        )
        layers.append(figure.layer(SITTER_M, "sitter", "sitter"))
    front = blank(size, unit)
    start = (0.0, back.margin_px + 0.12 * size[1])
    style = ForkStyle(width=13.0, length=760, spacing=60)
    paint_strands(front, grow_bough(start, 0.12, style, unit_px=unit, rng=rng), bark(rng))
    layers.append(front.layer(2.2, "foreground", "bough"))
    layers.sort(key=lambda layer: -layer.distance_m)
    return Scene(tuple(layers), size, back.margin_px, "receding_ground")


def ground_depth_m(
    size: Size, *, nearest_m: float = 3.4, farthest_m: float = 40.0, horizon: float = 0.45
) -> Float:
    """Return the ground's distance for every row of the frame, (height,); inf above the ground."""
    rows = np.arange(size[1]) / size[1] - horizon
    with np.errstate(divide="ignore"):
        depth = nearest_m * (1 - horizon) / np.maximum(rows, 0)
    return np.where(depth > farthest_m, np.inf, depth).astype(np.float32)


def _paving(back: Canvas, size: Size, horizon: float, rng: np.random.Generator) -> Float:
    """Return stones in perspective: texture laid out on the ground and looked at from its side."""
    height, width = back.coverage.shape
    rows = (np.arange(height) - back.margin_px) / size[1] - horizon
    depth = 1 / np.maximum(rows, 0.004)
    across = (np.arange(width) - width / 2) / size[1]
    x = across[None, :] * depth[:, None]
    z = np.repeat(1.6 * depth[:, None], width, axis=1)
    row, column = np.floor(4 * z), np.floor(3.2 * x + 0.5 * (np.floor(4 * z) % 2))
    joint = np.minimum(_to_edge(3.2 * x + 0.5 * (row % 2)), _to_edge(4 * z))
    stone = 0.55 + 0.45 * np.clip(joint / 0.07, 0, 1)
    number = (np.sin(column * 12.9898 + row * 78.233) * 43758.5453) % 1
    grain = np.exp(0.10 * noise_field((height, width), 7 * back.unit_px, rng, octaves=3))
    tone = (0.16 + 0.10 * number) * stone * grain
    return np.asarray(tone[..., None] * np.array([1.05, 0.95, 0.82]), np.float32)


def _to_edge(place: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return the distance to the next whole number."""
    return np.asarray(np.abs(place - np.rint(place)))


def _slices(
    surface: Float, back: Canvas, size: Size, horizon: float, limits_m: NDArray[np.float64]
) -> list[Layer]:
    """Cut the ground at the limits; each slice also runs on below the one in front of it."""
    height, width = back.coverage.shape
    nearest = float(limits_m[-1])
    rows = np.arange(height) - back.margin_px
    found = []
    for index in range(len(limits_m) - 1):
        far, near = float(limits_m[index]), float(limits_m[index + 1])
        top = size[1] * (horizon + nearest * (1 - horizon) / far)
        shown = np.clip(rows - top + 0.5, 0, 1)
        bottom = size[1] * (horizon + nearest * (1 - horizon) / near) + 60 * back.unit_px
        ends = np.clip(bottom - rows + 0.5, 0, 1) if index < len(limits_m) - 2 else 1.0
        coverage = np.repeat((shown * ends)[:, None], width, axis=1).astype(np.float32)
        middle = float(np.sqrt(far * near))
        found.append(Layer(surface, coverage, middle, "background", f"ground-{index}"))
    return found
