"""Head and hair of the cellist: eyes lowered to the strings, hair loose over one shoulder."""

import numpy as np

from blendkit.simulate.drawing.canvas import Color
from blendkit.simulate.drawing.figure import Figure, sheen
from blendkit.simulate.drawing.strands import paint_strands

CENTRE = (-0.006, 0.088)
"""Middle of the face; the head leans a little away from the cello's neck."""


def hair_behind(figure: Figure, hair: Color, rng: np.random.Generator) -> None:
    """Draw the mass of hair behind neck and shoulders, with strands that stray from it."""
    mass = [
        (-0.03, 0.0),
        (-0.066, 0.04),
        (-0.075, 0.10),
        (-0.085, 0.17),
        (-0.098, 0.25),
        (-0.07, 0.31),
        (-0.02, 0.30),
        (0.045, 0.20),
        (0.068, 0.13),
        (0.07, 0.06),
        (0.04, 0.005),
    ]
    figure.fill(mass, [0.7 * v for v in hair], rounded=0.02)
    _locks(figure, hair, rng, count=150, stray=0.012)


def _locks(
    figure: Figure, hair: Color, rng: np.random.Generator, *, count: int, stray: float
) -> None:
    """Draw single strands that fall from the parting; a few fly away from the mass."""
    for index in range(count):
        wild = 1.9 if index % 9 == 0 else 1.0
        side = -1 if rng.uniform() < 0.72 else 1
        out = side * rng.uniform(0.045, 0.078)
        end = rng.uniform(0.16, 0.33) if side < 0 else rng.uniform(0.12, 0.19)
        knots = [
            (side * rng.uniform(0.0, 0.03), 0.004 + rng.uniform(0, 0.01)),
            (out, rng.uniform(0.035, 0.07)),
            (out * 1.12 + rng.normal(0, stray), 0.5 * (0.06 + end)),
            (out * 1.15 + rng.normal(0, 1.5 * stray * wild), end),
        ]
        wide = rng.uniform(0.0011, 0.0022)
        tone = rng.uniform(0.6, 2.2)
        strand = [(x, y, wide * (1 - 0.12 * step)) for step, (x, y) in enumerate(knots)]
        surface = sheen([tone * v for v in hair], 0.3)
        paint_strands(figure.canvas, [figure.path(strand)], surface)


def head(figure: Figure, skin: Color, hair: Color, rng: np.random.Generator) -> None:
    """Draw face and the hair in front of it."""
    x, y = CENTRE
    face = [
        (x - 0.050, y - 0.035),
        (x - 0.053, y + 0.005),
        (x - 0.044, y + 0.045),
        (x - 0.020, y + 0.073),
        (x + 0.002, y + 0.079),
        (x + 0.024, y + 0.071),
        (x + 0.044, y + 0.043),
        (x + 0.052, y + 0.003),
        (x + 0.048, y - 0.038),
        (x + 0.028, y - 0.068),
        (x - 0.028, y - 0.068),
    ]
    figure.fill(face, skin, rounded=0.016, relief=0.8)
    _features(figure, skin, hair)
    fringe_left = [
        (x + 0.012, y - 0.078),
        (x - 0.025, y - 0.083),
        (x - 0.058, y - 0.055),
        (x - 0.066, y + 0.0),
        (x - 0.066, y + 0.06),
        (x - 0.052, y + 0.05),
        (x - 0.050, y + 0.0),
        (x - 0.040, y - 0.035),
        (x - 0.012, y - 0.055),
    ]
    fringe_right = [
        (x + 0.008, y - 0.079),
        (x + 0.035, y - 0.075),
        (x + 0.058, y - 0.045),
        (x + 0.063, y + 0.0),
        (x + 0.060, y + 0.045),
        (x + 0.050, y + 0.03),
        (x + 0.050, y - 0.01),
        (x + 0.040, y - 0.04),
        (x + 0.018, y - 0.058),
    ]
    for part in (fringe_left, fringe_right):
        figure.fill(part, hair, rounded=0.012, relief=1.3)
    _combed(figure, hair, rng)


def _features(figure: Figure, skin: Color, hair: Color) -> None:
    x, y = CENTRE
    dark = [0.30 * v for v in skin]
    warm = (skin[0] * 0.95, skin[1] * 0.62, skin[2] * 0.60)
    for side in (-1, 1):
        eye = x + 0.002 + side * 0.0215
        figure.soft((eye, y - 0.002), (0.022, 0.012), [0.7 * v for v in skin], 0.0035, 0.55)
        lid = [
            (eye - 0.0105, y + 0.001, 0.0012),
            (eye, y + 0.0048, 0.0022),
            (eye + 0.0105, y + 0.0012, 0.0012),
        ]
        figure.strand(lid, [0.4 * v for v in hair], contrast=0.1)
        brow = [
            (eye - 0.0125, y - 0.0155, 0.0014),
            (eye, y - 0.0195, 0.0028),
            (eye + 0.0125, y - 0.0165, 0.0016),
        ]
        figure.strand(brow, [1.1 * v for v in hair], contrast=0.1)
        figure.soft((x + 0.002 + side * 0.028, y + 0.028), (0.024, 0.02), warm, 0.006, 0.35)
    figure.soft((x + 0.0085, y + 0.018), (0.007, 0.03), [0.62 * v for v in skin], 0.0035, 0.5)
    figure.soft(
        (x - 0.0005, y + 0.014), (0.005, 0.026), [min(1.3 * v, 0.9) for v in skin], 0.003, 0.5
    )
    figure.soft((x + 0.002, y + 0.0345), (0.016, 0.005), dark, 0.002, 0.5)
    lips = (skin[0] * 0.72, skin[1] * 0.36, skin[2] * 0.40)
    upper = [
        (x - 0.0155, y + 0.0515),
        (x - 0.005, y + 0.0478),
        (x + 0.002, y + 0.0492),
        (x + 0.009, y + 0.0478),
        (x + 0.0195, y + 0.0515),
        (x + 0.002, y + 0.0535),
    ]
    lower = [
        (x - 0.0145, y + 0.0522),
        (x + 0.002, y + 0.0535),
        (x + 0.0185, y + 0.0522),
        (x + 0.011, y + 0.0578),
        (x + 0.002, y + 0.0598),
        (x - 0.007, y + 0.0578),
    ]
    figure.fill(upper, [0.8 * v for v in lips], rounded=0.003, blur=0.0006)
    figure.fill(lower, [1.1 * v for v in lips], rounded=0.003, blur=0.0006)
    figure.strand(
        [
            (x - 0.0155, y + 0.0518, 0.0008),
            (x + 0.002, y + 0.0535, 0.0012),
            (x + 0.0195, y + 0.0516, 0.0008),
        ],
        dark,
        contrast=0.1,
    )
    figure.soft((x + 0.003, y + 0.0655), (0.022, 0.005), [0.7 * v for v in skin], 0.003, 0.4)


def _combed(figure: Figure, hair: Color, rng: np.random.Generator) -> None:
    """Draw strands over the fringe, parted off-centre."""
    x, y = CENTRE
    for index in range(110):
        side = -1 if index % 2 else 1
        depth = rng.uniform(0, 1)
        reach = 0.046 + 0.018 * depth
        tip = (x + side * (reach + rng.normal(0.004, 0.003)), y + rng.uniform(0.0, 0.07))
        top = (x + 0.010 + side * 0.002, y - 0.079 + 0.016 * (1 - depth))
        bow = (x + side * reach * 0.72, y - 0.074 + 0.02 * (1 - depth) + rng.normal(0, 0.002))
        far = (x + side * (reach + 0.002), y - 0.025 + rng.normal(0, 0.006))
        tone = rng.uniform(0.6, 2.6)
        knots = [
            (*p, w)
            for p, w in zip((top, bow, far, tip), (0.0016, 0.0019, 0.0016, 0.0008), strict=True)
        ]
        paint_strands(figure.canvas, [figure.path(knots)], sheen([tone * v for v in hair], 0.3))
    for _ in range(26):
        start = rng.uniform(-0.06, 0.06)
        lift = rng.uniform(0.004, 0.02)
        base = (x + start, y - 0.075 + 9 * start**2)
        knots = [
            (*base, 0.0010),
            (base[0] + rng.normal(0, 0.012), base[1] - lift, 0.0009),
            (base[0] + 0.6 * start + rng.normal(0, 0.02), base[1] - 0.3 * lift + 0.01, 0.0007),
        ]
        paint_strands(figure.canvas, [figure.path(knots)], sheen([1.6 * v for v in hair], 0.2))
