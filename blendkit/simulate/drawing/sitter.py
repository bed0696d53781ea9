"""A stand-in for the sitter: a cellist in an evening dress, drawn from shapes and strands.

She sits, looks down at the strings, and is the zone in focus.  Drawn in units of her own height:
x to the right of the cello's middle, y down from the crown of her head.
"""

import numpy as np

from blendkit.simulate.drawing.canvas import Canvas, Color, blank, noise_field
from blendkit.simulate.drawing.cello import draw_bow, draw_cello
from blendkit.simulate.drawing.figure import Figure
from blendkit.simulate.drawing.portrait import hair_behind, head

FAIR, TAN, DEEP = (0.52, 0.31, 0.21), (0.38, 0.21, 0.13), (0.20, 0.105, 0.065)
BROWN, BLOND, BLACK = (0.05, 0.027, 0.017), (0.15, 0.075, 0.033), (0.02, 0.015, 0.013)
LOOKS: tuple[tuple[Color, Color], ...] = (
    (FAIR, BROWN),
    (FAIR, BLOND),
    (TAN, BROWN),
    (TAN, BLACK),
    (DEEP, BLACK),
)
"""Colours of skin and hair."""
DRESSES: tuple[Color, ...] = ((0.17, 0.018, 0.03), (0.022, 0.055, 0.115), (0.03, 0.09, 0.062))

RIGHT_HAND = (-0.145, 0.545)
LEFT_HAND = (0.062, 0.262)


def cellist(
    size: tuple[int, int],
    unit_px: float,
    rng: np.random.Generator,
    *,
    centre: float = 0.5,
    top: float = 0.24,
    height: float = 0.77,
) -> Canvas:
    """Return a canvas with the cellist.

    centre, top: of the figure, as shares of the frame's width and height; height: of the seated
    figure in frame heights (a part of it may leave the frame below).
    """
    canvas = blank(size, unit_px)
    margin = canvas.margin_px
    figure = Figure(
        canvas,
        origin=(margin + centre * size[0], margin + top * size[1]),
        scale_px=height * min(size[1], 1.2 * size[0]),
        mirrored=bool(rng.uniform() < 0.5),
    )
    skin, hair = LOOKS[int(rng.integers(len(LOOKS)))]
    dress = DRESSES[int(rng.integers(len(DRESSES)))]
    hair_behind(figure, hair, rng)
    _gown(figure, skin, dress, rng)
    draw_cello(figure, rng)
    head(figure, skin, hair, rng)
    _arms(figure, skin)
    draw_bow(figure, RIGHT_HAND)
    _hands(figure, skin)
    return canvas


def _gown(figure: Figure, skin: Color, dress: Color, rng: np.random.Generator) -> None:
    """Draw neck, shoulders, bodice and a long skirt with folds."""
    shape = figure.canvas.coverage.shape
    weave = np.exp(0.08 * noise_field(shape, 2.5 * figure.canvas.unit_px, rng, octaves=2))
    skirt = [
        (-0.084, 0.43),
        (-0.17, 0.50),
        (-0.235, 0.57),
        (-0.26, 0.70),
        (-0.285, 0.88),
        (-0.31, 1.06),
        (0.31, 1.06),
        (0.285, 0.88),
        (0.26, 0.70),
        (0.235, 0.57),
        (0.17, 0.50),
        (0.084, 0.43),
    ]
    figure.fill(skirt, dress, rounded=0.035, relief=1.2, texture=weave)
    _folds(figure, dress, rng)
    shoulders = [
        (-0.03, 0.14),
        (-0.045, 0.19),
        (-0.10, 0.211),
        (-0.142, 0.232),
        (-0.118, 0.30),
        (-0.09, 0.36),
        (0.09, 0.36),
        (0.118, 0.30),
        (0.142, 0.232),
        (0.10, 0.211),
        (0.045, 0.19),
        (0.03, 0.14),
    ]
    figure.fill(shoulders, skin, rounded=0.018)
    figure.soft((0.0, 0.178), (0.075, 0.045), [0.42 * v for v in skin], 0.010, 0.75)
    bodice = [
        (-0.128, 0.262),
        (-0.095, 0.268),
        (-0.05, 0.30),
        (0.0, 0.312),
        (0.05, 0.30),
        (0.095, 0.268),
        (0.128, 0.262),
        (0.118, 0.34),
        (0.09, 0.42),
        (0.05, 0.465),
        (-0.05, 0.465),
        (-0.09, 0.42),
        (-0.118, 0.34),
    ]
    figure.fill(bodice, dress, rounded=0.022, relief=1.2, texture=weave)
    for side in (-1, 1):
        strap = [
            (side * 0.105, 0.27, 0.012),
            (side * 0.088, 0.235, 0.011),
            (side * 0.07, 0.205, 0.010),
        ]
        figure.strand(strap, dress, contrast=0.5)


def _folds(figure: Figure, dress: Color, rng: np.random.Generator) -> None:
    for index in range(16):
        start = (-0.9 + 1.8 * index / 15) * 0.2
        sway = rng.normal(0, 0.012)
        wide = rng.uniform(0.012, 0.026)
        knots = [(start * 0.85, 0.56), (start * 1.15 + sway, 0.74), (start * 1.5, 1.05)]
        outline = [(x - wide / 2, y) for x, y in knots] + [
            (x + wide / 2, y) for x, y in knots[::-1]
        ]
        tone = 1.9 if index % 2 else 0.4
        color = tuple(tone * v + 0.004 for v in dress)
        figure.fill(outline, color, rounded=0.01, blur=0.008, opacity=0.5)


def _arms(figure: Figure, skin: Color) -> None:
    right = [
        (-0.112, 0.232, 0.042),
        (-0.138, 0.252, 0.048),
        (-0.178, 0.335, 0.046),
        (-0.212, 0.42, 0.037),
        (-0.214, 0.455, 0.036),
        (-0.190, 0.50, 0.035),
        (*RIGHT_HAND, 0.024),
    ]
    left = [
        (0.112, 0.232, 0.042),
        (0.138, 0.252, 0.048),
        (0.185, 0.325, 0.045),
        (0.214, 0.375, 0.037),
        (0.205, 0.392, 0.035),
        (0.165, 0.35, 0.035),
        (LEFT_HAND[0] + 0.02, LEFT_HAND[1] + 0.014, 0.024),
    ]
    figure.strand(right, skin, contrast=0.42)
    figure.strand(left, skin, contrast=0.42)
    for side in (-1, 1):
        figure.soft((side * 0.116, 0.238), (0.05, 0.036), skin, 0.010, 0.6)


def _hands(figure: Figure, skin: Color) -> None:
    """Draw the bow hand from above and the fingers that press the strings."""
    x, y = RIGHT_HAND
    figure.strand([(x - 0.012, y - 0.008, 0.03), (x + 0.02, y + 0.006, 0.034)], skin, contrast=0.4)
    for step in range(4):
        base = (x + 0.014 + 0.007 * step, y + 0.014 - 0.006 * step)
        tip = (base[0] + 0.006, base[1] + 0.027)
        figure.strand(
            [(*base, 0.0105), (base[0] + 0.006, base[1] + 0.014, 0.010), (*tip, 0.0075)],
            skin,
            contrast=0.5,
        )
    x, y = LEFT_HAND
    figure.strand([(x + 0.026, y + 0.018, 0.03), (x + 0.012, y + 0.002, 0.033)], skin, contrast=0.4)
    for step in range(4):
        row = y - 0.018 + 0.0125 * step
        finger = [
            (x + 0.018, row + 0.006, 0.011),
            (x + 0.003, row - 0.006, 0.0105),
            (x - 0.013, row + 0.001, 0.0085),
        ]
        figure.strand(finger, skin, contrast=0.5)
