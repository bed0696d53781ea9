"""A figure's own coordinates: x to the right of its axis, y down from its crown, height 1."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from blendkit.frame import Float
from blendkit.simulate.drawing.canvas import Canvas, Color
from blendkit.simulate.drawing.shapes import ellipse_outline, fill, smooth_outline
from blendkit.simulate.drawing.strands import Bark, paint_strands, smooth_path

Knots = Sequence[tuple[float, float, float]]
"""(x, y, width) along a strand, in figure heights."""


@dataclass(frozen=True, eq=False, slots=True)
class Figure:
    """Draws on a canvas in figure heights.

    origin: canvas px of the crown; scale_px: px of one figure height; mirrored: left for right.
    """

    canvas: Canvas
    origin: tuple[float, float]
    scale_px: float
    mirrored: bool = False

    def at(self, points: Sequence[tuple[float, float]]) -> NDArray[np.float64]:
        """Return canvas px (n, 2) of figure coordinates."""
        placed = np.array(points, np.float64) * self.scale_px
        if self.mirrored:
            placed[:, 0] *= -1
        return np.asarray(placed + self.origin)

    def fill(
        self,
        points: Sequence[tuple[float, float]],
        color: Sequence[float],
        *,
        rounded: float,
        relief: float = 1.0,
        texture: Float | None = None,
        blur: float = 0.0,
        opacity: float = 1.0,
    ) -> None:
        """Fill a smooth closed outline; rounded and blur in figure heights."""
        fill(
            self.canvas,
            smooth_outline(self.at(points)),
            _rgb(color),
            round_px=rounded * self.scale_px,
            relief=relief,
            texture=texture,
            opacity=opacity,
            soft_px=blur * self.scale_px,
        )

    def soft(
        self,
        centre: tuple[float, float],
        axes: tuple[float, float],
        color: Sequence[float],
        blur: float,
        opacity: float,
    ) -> None:
        """Lay a soft flat ellipse: a shadow, a blush, a glint."""
        outline = ellipse_outline((0, 0), (axes[0] * self.scale_px, axes[1] * self.scale_px))
        placed = outline + self.at([centre])
        fill(
            self.canvas,
            placed,
            _rgb(color),
            round_px=1,
            relief=0,
            opacity=opacity,
            soft_px=blur * self.scale_px,
        )

    def strand(self, knots: Knots, color: Sequence[float], *, contrast: float = 0.6) -> None:
        """Draw a smooth rounded strand, contrast = how much darker its far side is."""
        paint_strands(self.canvas, [self.path(knots)], sheen(color, contrast))

    def path(self, knots: Knots) -> NDArray[np.float64]:
        """Return a strand's centre line (n, 3) in canvas px."""
        placed = self.at([(x, y) for x, y, _ in knots])
        widths = np.array([[width * self.scale_px] for _, _, width in knots])
        return smooth_path(np.hstack([placed, widths]), max(3.0, 0.008 * self.scale_px))


def sheen(color: Sequence[float], contrast: float) -> Bark:
    """Return a smooth surface: skin, hair, varnish, horsehair."""
    shade = _rgb([v * (1 - contrast) for v in color])
    lit = _rgb([v * (1 + 0.5 * contrast) for v in color])
    return Bark(shade, lit, (-0.62, -0.42, 0.66), np.ones((128, 32), np.float32))


def _rgb(color: Sequence[float]) -> Color:
    return float(color[0]), float(color[1]), float(color[2])
