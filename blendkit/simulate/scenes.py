"""Scenes by name, for tests and demonstrations."""

from collections.abc import Callable

import numpy as np

from blendkit.simulate.boughs import ForkStyle, grow_bough
from blendkit.simulate.canvas import Canvas, blank, unit_for
from blendkit.simulate.scene import Scene
from blendkit.simulate.strands import bark, paint_strands
from blendkit.simulate.woods import woods


def thin_boughs_over_woods(
    seed: int = 0, size: tuple[int, int] = (1200, 800), *, unit_px: float | None = None
) -> Scene:
    rng = np.random.default_rng(seed)
    unit = unit_px or unit_for(size)
    back, front = blank(size, unit), blank(size, unit)
    woods(back, rng)
    style = ForkStyle(width=9.0, length=800)
    surface = bark(rng)
    for _ in range(3):
        height, width = front.coverage.shape
        left = rng.uniform() < 0.5
        start = (0.0 if left else float(width), rng.uniform(0.05, 0.6) * height)
        heading = rng.uniform(-0.2, 0.5) + (0 if left else np.pi)
        paint_strands(front, grow_bough(start, heading, style, unit_px=unit, rng=rng), surface)
    layers = (back.layer(40.0, "background", "woods"), front.layer(2.5, "foreground", "boughs"))
    return Scene(layers, size, back.margin_px, "thin_boughs_over_woods")
