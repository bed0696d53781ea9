"""What stands in front as a mass: grass, needles, hanging strands, bushes, blossom.

Boughs leave gaps of their own size; these leave few or tiny ones, and hide what stands behind over
a good part of the frame.  All are drawn as many slender or small leaves (grown.py).
"""

import cv2
import numpy as np
from grown import Lines, Palette, hung, laid_leaves, leaf
from lines import forks, stroked

from blendkit.frame import Float

_Leaves = list[np.ndarray]
Growth = tuple[Lines, _Leaves]
"""Stems, and the leaves on them."""


def thicket(
    shape: tuple[int, int],
    thickness: float,
    bark: np.ndarray,
    palette: Palette,
    rng: np.random.Generator,
) -> tuple[Float, Float]:
    """Return colour (h, w, 3) and coverage (h, w) of one of the masses.

    thickness: what sizes are multiplied by.  bark: colour of stems.  palette: colours of leaves.
    """
    kinds = (_grass, _needles, _strands, _bush, _blossom)
    lines, leaves = kinds[int(rng.integers(len(kinds)))](shape, thickness, rng)
    cover = stroked(shape, lines)
    color = np.ascontiguousarray(np.broadcast_to(bark, (*shape, 3)), np.float32)
    return laid_leaves((color, cover), leaves, palette, rng)


def _grass(shape: tuple[int, int], thickness: float, rng: np.random.Generator) -> Growth:
    """Return blades that rise from the lower border, in tufts, some of them stems with an ear."""
    height, width = shape
    reach = rng.uniform(0.3, 0.95) * height
    tufts = rng.uniform(0, width, int(rng.integers(1, 8)))
    spread = rng.uniform(0.05, 0.5) * width
    upward = -np.pi / 2 + rng.normal(0, 0.25)
    lines: Lines = []
    leaves: _Leaves = []
    for _ in range(int(rng.integers(25, 260))):
        foot = np.array([rng.choice(tufts) + rng.normal(0, spread), height + 5.0])
        long = reach * rng.uniform(0.4, 1.1)
        broad = float(np.clip(thickness * rng.uniform(1.5, 7), 1.2, 16))
        heading = upward + rng.normal(0, 0.25)
        if rng.uniform() < 0.8:
            leaves.append(leaf(foot, heading, long, broad / long, 0.6, rng, bend=0.3))
            continue
        way = np.linspace(0, long, 24)[:, None] * [np.cos(heading), np.sin(heading)]
        stem = foot + way + [rng.normal(0, 0.1) * long, 0] * np.square(way[:, 1:] / long)
        lines.append((stem, np.full(len(stem), max(0.35 * broad, 0.9))))
        for at in stem[-int(rng.integers(3, 12)) :]:
            aside = heading + rng.normal(0, 0.5)
            leaves.append(leaf(at, aside, 4 * broad * rng.uniform(0.5, 1.2), 0.3, 1.0, rng))
    return lines, leaves


def _needles(shape: tuple[int, int], thickness: float, rng: np.random.Generator) -> Growth:
    """Return twigs with needles along them."""
    lines = _twigs(shape, thickness, rng)
    long = float(np.clip(thickness * rng.uniform(6, 30), 6, 50))
    broad = max(float(rng.uniform(0.03, 0.09)), 0.9 / long)
    every_px, swept = rng.uniform(0.8, 5), rng.uniform(0.3, 1.3)
    leaves: _Leaves = []
    for points, widths in lines:
        if widths[0] > 0.5 * long:
            continue
        steps = np.diff(points, axis=0)
        away = np.hypot(steps[:, 0], steps[:, 1])
        for index in np.flatnonzero(rng.uniform(size=len(steps)) < away / every_px):
            along = np.arctan2(steps[index, 1], steps[index, 0])
            heading = along + rng.choice([-1, 1]) * swept * rng.uniform(0.6, 1.4)
            leaves.append(leaf(points[index], heading, long, broad, 0.8, rng))
        if len(leaves) > 6000:
            break
    return lines, leaves


def _twigs(shape: tuple[int, int], thickness: float, rng: np.random.Generator) -> Lines:
    lines: Lines = []
    for _ in range(rng.integers(1, 4)):
        lines += forks(rng, shape, thickness * np.exp(rng.uniform(np.log(2), np.log(10))))
    return lines


def _strands(shape: tuple[int, int], thickness: float, rng: np.random.Generator) -> Growth:
    """Return thin whips that hang from one border, with narrow leaves."""
    height, width = shape
    lines: Lines = []
    for _ in range(int(rng.integers(6, 50))):
        count = max(int(height * rng.uniform(0.3, 1.1) / 6), 3)
        sway = np.cumsum(rng.normal(0, 0.03, count)) + rng.normal(0, 0.1)
        steps = 6 * np.column_stack([np.sin(sway), np.cos(sway)])
        points = np.array([rng.uniform(-0.05, 1.05) * width, -10.0]) + np.cumsum(steps, axis=0)
        lines.append((points, np.linspace(max(thickness * 1.5, 1.0), 0.9, count)))
    return lines, hung(lines, float(np.clip(thickness * rng.uniform(6, 30), 6, 50)), rng)


def _bush(shape: tuple[int, int], thickness: float, rng: np.random.Generator) -> Growth:
    """Return leaves that fill rounded masses, thinner toward their outlines."""
    size = float(np.clip(thickness * rng.uniform(5, 22), 5, 45))
    slender, blunt = rng.uniform(0.15, 0.5), rng.uniform(0.5, 1.3)
    leaves: _Leaves = []
    for _ in range(int(rng.integers(1, 6))):
        middle = rng.uniform(-0.1, 1.1, 2) * shape[::-1]
        halves = rng.uniform(0.08, 0.4, 2) * min(shape)
        count = int(rng.uniform(0.4, 2.5) * np.pi * halves.prod() / (slender * size**2))
        for _ in range(min(count, 2500)):
            at = middle + halves * rng.normal(0, 0.5, 2)
            long = size * rng.uniform(0.5, 1.3)
            leaves.append(leaf(at, rng.uniform(0, 2 * np.pi), long, slender, blunt, rng))
    lines = forks(rng, shape, 2 * thickness) if rng.uniform() < 0.5 else []
    return lines, leaves


def _blossom(shape: tuple[int, int], thickness: float, rng: np.random.Generator) -> Growth:
    """Return twigs with flowers of a few petals, in clusters."""
    lines = _twigs(shape, thickness, rng)
    petal = float(np.clip(thickness * rng.uniform(3, 12), 3, 25))
    petals, share = int(rng.integers(3, 8)), rng.uniform(0.03, 0.25)
    leaves: _Leaves = []
    for points, _ in lines:
        for at in points[rng.uniform(size=len(points)) < share]:
            for _ in range(rng.integers(1, 6)):
                middle = at + rng.normal(0, 1.5 * petal, 2)
                first = rng.uniform(0, 2 * np.pi)
                leaves += [
                    leaf(middle, first + 2 * np.pi * k / petals, petal, 0.45, 1.2, rng)
                    for k in range(petals)
                ]
    return lines, leaves


def shaded(color: Float, rng: np.random.Generator) -> Float:
    """Return colours in light and shade of some size, as masses have them, or as they were."""
    if rng.uniform() < 0.4:
        return color
    cells = rng.normal(0, rng.uniform(0.2, 0.9), (int(rng.integers(2, 9)),) * 2)
    light = cv2.resize(cells.astype(np.float32), color.shape[1::-1], interpolation=cv2.INTER_CUBIC)
    return np.asarray(color * np.exp(light)[..., None], np.float32)
