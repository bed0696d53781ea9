"""A field gate of five bars between stone posts, ajar in a low wall."""

import numpy as np

from blendkit.frame import Float
from blendkit.simulate.drawing.canvas import Canvas, noise_field
from blendkit.simulate.drawing.shapes import fill
from blendkit.simulate.drawing.strands import Path, bark, paint_strands

_WOOD_SHADE, _WOOD_LIT = (0.05, 0.042, 0.035), (0.24, 0.20, 0.155)


def draw_gate(canvas: Canvas, rng: np.random.Generator) -> None:
    """Draw wall, posts and gate across the lower middle of the frame."""
    _wall(canvas, rng)
    _bars(canvas, rng)
    _posts(canvas, rng)


def _place(canvas: Canvas, x: float, y: float) -> tuple[float, float]:
    """Return canvas px of a place: x in units of 800 from the middle, y a share of the height."""
    width, height = canvas.frame_size
    middle = canvas.margin_px + width / 2
    return middle + 800 * canvas.unit_px * x, canvas.margin_px + height * y


def _bars(canvas: Canvas, rng: np.random.Generator) -> None:
    wood = bark(rng, shade=_WOOD_SHADE, lit=_WOOD_LIT, roughness=0.3)
    left, right = -0.44, 0.44
    rows = ((0.625, 15), (0.675, 11), (0.725, 11), (0.78, 11), (0.835, 13))
    paths = [_beam(canvas, (left, y), (right, y - 0.006), wide) for y, wide in rows]
    brace = _beam(canvas, (left, 0.83), (right * 0.9, 0.625), 11)
    posts = [_beam(canvas, (x, 0.61), (x, 0.85), 16) for x in (left + 0.015, 0.0, right - 0.015)]
    paint_strands(canvas, [brace, *paths, *posts], wood)


def _beam(
    canvas: Canvas, start: tuple[float, float], end: tuple[float, float], width: float
) -> Path:
    """Return a straight beam between two places, width in units."""
    wide = width * canvas.unit_px
    return np.array([(*_place(canvas, *start), wide), (*_place(canvas, *end), wide)])


def _posts(canvas: Canvas, rng: np.random.Generator) -> None:
    unit = canvas.unit_px
    stone = np.exp(0.13 * noise_field(canvas.coverage.shape, 9 * unit, rng, octaves=3))
    for x in (-0.50, 0.50):
        (x0, y0), (x1, y1) = _place(canvas, x - 0.045, 0.56), _place(canvas, x + 0.045, 0.92)
        shaft = np.array([(x0, y0), (x1, y0), (x1 + 3 * unit, y1), (x0 - 3 * unit, y1)])
        fill(canvas, shaft, (0.17, 0.155, 0.135), round_px=9 * unit, relief=0.8, texture=stone)
        (c0, t), (c1, b) = _place(canvas, x - 0.06, 0.535), _place(canvas, x + 0.06, 0.57)
        cap = np.array([(c0 + 14 * unit, t), (c1 - 14 * unit, t), (c1, b), (c0, b)])
        fill(canvas, cap, (0.24, 0.22, 0.195), round_px=6 * unit, relief=1.3, texture=stone)


def _wall(canvas: Canvas, rng: np.random.Generator) -> None:
    """Lay courses of field stone to both sides of the posts."""
    unit = canvas.unit_px
    grain = np.exp(0.18 * noise_field(canvas.coverage.shape, 14 * unit, rng, octaves=4))
    far = canvas.coverage.shape[1] / (800 * unit) / 2 + 0.1
    for side in (-1, 1):
        (x0, y0), (x1, y1) = _place(canvas, side * 0.5, 0.66), _place(canvas, side * far, 0.90)
        backing = np.array([(x0, y0), (x1, y0), (x1, y1), (x0, y1)])
        fill(canvas, backing, (0.055, 0.05, 0.045), round_px=3, relief=0)
        for course in range(7):
            x = 0.5
            while x < far:
                wide = rng.uniform(0.045, 0.10)
                _stone(canvas, side * x, side * (x + wide), course=course, grain=grain, rng=rng)
                x += wide


def _stone(
    canvas: Canvas,
    start: float,
    end: float,
    *,
    course: int,
    grain: Float,
    rng: np.random.Generator,
) -> None:
    unit = canvas.unit_px
    tall = 0.24 / 7
    top = 0.66 + course * tall - (rng.uniform(0, 0.012) if course == 0 else 0)
    (x0, y0), (x1, y1) = _place(canvas, start, top), _place(canvas, end, 0.66 + (course + 1) * tall)
    x0, x1 = min(x0, x1) + 1.5 * unit, max(x0, x1) - 1.5 * unit
    y0, y1 = y0 + 1.2 * unit, y1 - 1.2 * unit
    chip = rng.uniform(1, 6, 8) * unit
    outline = np.array(
        [
            (x0, y0 + chip[0]),
            (x0 + chip[1], y0),
            (x1 - chip[2], y0),
            (x1, y0 + chip[3]),
            (x1, y1 - chip[4]),
            (x1 - chip[5], y1),
            (x0 + chip[6], y1),
            (x0, y1 - chip[7]),
        ]
    )
    tone = rng.uniform(0.11, 0.22)
    color = (tone, tone * rng.uniform(0.9, 0.97), tone * rng.uniform(0.78, 0.9))
    fill(canvas, outline, color, round_px=4 * unit, relief=1.2, texture=grain)
