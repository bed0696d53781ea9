"""Whole backgrounds by name, each a canvas filled edge to edge."""

import cv2
import numpy as np
from skimage import data

from blendkit.simulate.drawing.backdrop import DAY, DUSK, OVERCAST, open_sky, scaled
from blendkit.simulate.drawing.canvas import Canvas, blank, linear_from_srgb
from blendkit.simulate.drawing.land import hedge, meadow, ridge, wood_line
from blendkit.simulate.drawing.shapes import ellipse_outline, fill
from blendkit.simulate.drawing.trees import clump, poplar, stem, tree

Size = tuple[int, int]


def woods(size: Size, unit_px: float, rng: np.random.Generator) -> Canvas:
    """Return woods in three planes: hazy crowns far away, trunks, dark crowns near."""
    tone = rng.uniform(0.95, 1.25)
    sky = open_sky(size, unit_px, rng, stops=OVERCAST)
    width = sky.size[0]
    far, middle, near = ((148, 158, 140), (96, 112, 74), (58, 72, 40))
    wood_line(sky, 0.30, 60, scaled(far, tone))
    ridge(sky, 0.34, 8, scaled(far, 0.8 * tone))
    wood_line(sky, 0.42, 45, scaled(far, 0.85 * tone))
    meadow(sky, 0.60, scaled(middle, 0.62 * tone), (66, 58, 40))
    step = 62 * unit_px
    for x in np.arange(0, width, step):
        foot = (float(x + rng.normal(0, 0.4) * step), sky.row(rng.uniform(0.62, 0.8)))
        tint = scaled(middle, tone)
        tree(sky, foot, unit_px * rng.uniform(330, 560), tint, leaf_px=10 * unit_px)
    for _ in range(int(7 * width / (1200 * unit_px)) + 1):
        x = rng.uniform(0, width)
        wide = unit_px * rng.uniform(14, 34)
        stem(sky, (x, sky.size[1]), (x + rng.normal(0, 20) * unit_px, 0), wide, (62, 54, 44))
    for _ in range(int(26 * width / (1200 * unit_px)) + 1):
        centre = (
            rng.uniform(0, width),
            sky.row(rng.choice([rng.uniform(-0.1, 0.2), rng.uniform(0.6, 1.1)])),
        )
        radius = unit_px * rng.uniform(50, 110)
        clump(sky, centre, (radius, 0.7 * radius), near, count=150, leaf_px=15 * unit_px)
    return sky.finished()


def hills(size: Size, unit_px: float, rng: np.random.Generator) -> Canvas:
    """Return hills that fade into haze, with fields, small woods and a wide sky."""
    sky = open_sky(size, unit_px, rng, stops=DAY if rng.uniform() < 0.5 else DUSK, clouds=0.8)
    for index, share in enumerate((0.50, 0.57, 0.65, 0.75)):
        haze = 1 - index / 3
        tint = (96 + 62 * haze, 116 + 48 * haze, 74 + 92 * haze)
        ridge(sky, share, 26 - 4 * index, tint)
        woody = scaled(tint, 0.72)
        for _ in range(5):
            x = rng.uniform(0, sky.size[0])
            y = sky.row(share + rng.uniform(0.02, 0.07))
            for step in range(rng.integers(4, 14)):
                size_px = unit_px * (6 + 5 * index) * rng.uniform(0.7, 1.3)
                spot = (x + 1.3 * size_px * step, y + rng.normal(0, 2) * unit_px)
                clump(
                    sky, spot, (size_px, size_px), woody, count=30, leaf_px=max(0.35 * size_px, 1.5)
                )
    meadow(sky, 0.84, (124, 134, 78), (88, 104, 50))
    return sky.finished()


def sky_only(size: Size, unit_px: float, rng: np.random.Generator) -> Canvas:
    """Return an evening sky with clouds over a low line of trees."""
    sky = open_sky(size, unit_px, rng, stops=DUSK, clouds=0.9)
    wood_line(sky, 0.82, 26, (84, 74, 72))
    ridge(sky, 0.82, 6, (92, 86, 76))
    meadow(sky, 0.88, (112, 108, 74), (80, 84, 48))
    return sky.finished()


def poplars(size: Size, unit_px: float, rng: np.random.Generator) -> Canvas:
    """Return a row of poplars over a meadow at dusk."""
    sky = open_sky(size, unit_px, rng, stops=DUSK, clouds=0.6)
    ridge(sky, 0.60, 14, (150, 138, 140))
    wood_line(sky, 0.63, 20, (122, 112, 104))
    x = -40.0 * unit_px
    while x < sky.size[0] + 40 * unit_px:
        height = unit_px * rng.uniform(380, 540)
        foot = (x, sky.row(0.70) + rng.normal(0, 6) * unit_px)
        poplar(sky, foot, height, (104, 104, 58), leaf_px=9 * unit_px)
        x += unit_px * rng.choice([rng.uniform(46, 80), rng.uniform(80, 190)], p=[0.7, 0.3])
    meadow(sky, 0.69, (146, 134, 82), (84, 92, 48))
    return sky.finished()


def hedge_with_gaps(size: Size, unit_px: float, rng: np.random.Generator) -> Canvas:
    """Return a dark hedge through which a bright sky shows."""
    sky = open_sky(size, unit_px, rng, stops=OVERCAST, clouds=0.2)
    hedge(sky, 0.12, (74, 88, 50), gaps=float(rng.uniform(0.08, 0.25)))
    return sky.finished()


def picture(name: str, size: Size, unit_px: float, rng: np.random.Generator) -> Canvas:
    """Return one of scikit-image's pictures ("chelsea", "coffee", "brick", "grass", "gravel").

    It is enlarged to cover the canvas, mirrored at random; real texture with real noise.
    """
    canvas = blank(size, unit_px)
    height, width = canvas.coverage.shape
    source = np.atleast_3d(getattr(data, name)()).astype(np.float32) / 255
    source = np.repeat(source, 3, axis=2) if source.shape[2] == 1 else source
    if rng.uniform() < 0.5:
        source = source[:, ::-1]
    enlarge = max(width / source.shape[1], height / source.shape[0]) * rng.uniform(1.0, 1.3)
    spare = np.array([source.shape[1] * enlarge - width, source.shape[0] * enlarge - height])
    corner = -spare * rng.uniform(0, 1, 2)
    place = np.array([[enlarge, 0, corner[0]], [0, enlarge, corner[1]]])
    large = cv2.warpAffine(
        np.ascontiguousarray(source),
        place,
        (width, height),
        flags=cv2.INTER_CUBIC,
        borderMode=cv2.BORDER_REFLECT,
    )
    tint = (
        rng.uniform(0.8, 1.1, 3).astype(np.float32) if name in {"brick", "grass", "gravel"} else 1
    )
    canvas.color[:] = linear_from_srgb(np.clip(large, 0, 1).astype(np.float32)) * tint
    canvas.coverage[:] = 1
    return canvas


def with_bright_points(canvas: Canvas, rng: np.random.Generator, *, count: int = 60) -> Canvas:
    """Add lamps and glints, 3 to 25 times white, warm or neutral, 2 to 5 units wide."""
    unit = canvas.unit_px
    height, width = canvas.coverage.shape
    number = int(count * width * height / (1.4e6 * unit**2)) + 1
    for _ in range(number):
        level = 3 * 8 ** rng.uniform(0, 1)
        warm = rng.uniform(0, 0.6)
        color = (level, level * (1 - 0.45 * warm), level * (1 - 0.8 * warm))
        centre = (rng.uniform(0, width), rng.uniform(0, height))
        across = unit * rng.uniform(2, 5)
        outline = ellipse_outline(centre, (across, across))
        fill(canvas, outline, color, round_px=1, relief=0)
    return canvas
