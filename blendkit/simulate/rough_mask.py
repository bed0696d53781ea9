"""Masks as people paint them: brush strokes along the boughs, wobbly, 10 to 20 px too wide."""

from dataclasses import dataclass
from typing import Literal

import cv2
import numpy as np
from numpy.typing import NDArray
from skimage.morphology import skeletonize

from blendkit.frame import Bool, Float
from blendkit.simulate.drawing.canvas import noise_field

Places = NDArray[np.int64]
SEEN_FROM = 0.3


@dataclass(frozen=True, slots=True)
class PaintedStroke:
    """A brush stroke: points (x, y) in px, the brush's diameter, and what it marks."""

    points: tuple[tuple[float, float], ...]
    diameter_px: float
    role: Literal["foreground", "background"]


def rough_mask(
    matte: Float,
    *,
    seed: int = 0,
    reach_px: tuple[float, float] = (10.0, 20.0),
    tremor_px: float = 4.0,
    missed: float = 0.0,
    seen_from: float = SEEN_FROM,
) -> Float:
    """Return a painted mask, float32 (height, width), 1 = painted, for a true matte.

    The brush follows the middle of every bough, at a distance that a trembling hand keeps, and
    reaches past its edges by reach_px (least, most).  missed: share of the twigs forgotten.
    seen_from: coverage of a bough's middle from which it is seen and painted.
    """
    rng = np.random.default_rng(seed)
    spine, half_width = _spine(matte, seen_from)
    shape = matte.shape
    wander = [noise_field(shape, 40, rng, octaves=2) for _ in range(2)]
    middle, span = (reach_px[0] + reach_px[1]) / 2, (reach_px[1] - reach_px[0]) / 2
    reach = middle + span * np.tanh(noise_field(shape, 90, rng, octaves=3))
    care = noise_field(shape, 60, rng, octaves=2)
    thin = half_width <= np.median(half_width) if len(half_width) else half_width > 0
    forgotten = thin & (care[spine[:, 0], spine[:, 1]] < np.quantile(care, min(2 * missed, 1.0)))
    keep = np.flatnonzero(~forgotten if missed > 0 else np.ones(len(spine), bool))
    painted = np.zeros(shape, np.uint8)
    for index in keep[rng.permutation(len(keep))[: max(1, len(keep) // 3)]]:
        row, column = spine[index]
        x = column + tremor_px * wander[0][row, column]
        y = row + tremor_px * wander[1][row, column]
        radius = half_width[index] + reach[row, column]
        centre = (round(16 * float(x)), round(16 * float(y)))
        cv2.circle(painted, centre, round(16 * float(radius)), 255, -1, cv2.LINE_AA, 4)
    return np.asarray(painted / 255, np.float32)


def eight_strokes(matte: Float, *, seed: int = 0) -> tuple[PaintedStroke, ...]:
    """Return five quick strokes along the thickest boughs and three over free background."""
    rng = np.random.default_rng(seed)
    spine, half_width = _spine(matte)
    strokes: list[PaintedStroke] = []
    free = np.ones(len(spine), bool)
    while len(strokes) < 5 and free.sum() > 30:
        first = int(np.flatnonzero(free)[np.argmax(half_width[free])])
        walk = _walk(spine, free, first, limit_px=0.25 * max(matte.shape))
        free &= _distance_to(spine, spine[walk]) > 0.04 * max(matte.shape)
        width = 2 * float(np.median(half_width[walk]))
        points = spine[walk[:: max(1, len(walk) // 8)], ::-1] + rng.normal(0, 0.15 * width, (1, 2))
        path = tuple((float(x), float(y)) for x, y in points)
        strokes.append(PaintedStroke(path, max(3.0, 0.8 * width), "foreground"))
    return (*strokes, *_background_strokes(matte, rng))


def _spine(matte: Float, seen_from: float = SEEN_FROM) -> tuple[Places, NDArray[np.float32]]:
    """Return the middle line of all boughs, (n, 2) rows and columns, and half its width in px."""
    core: Bool = np.asarray(matte > seen_from)
    lines = np.argwhere(skeletonize(core))
    depth = cv2.distanceTransform(core.astype(np.uint8), cv2.DIST_L2, 5)
    return lines, np.asarray(depth[lines[:, 0], lines[:, 1]], np.float32)


def _walk(spine: Places, free: Bool, first: int, *, limit_px: float) -> NDArray[np.int64]:
    """Follow the spine from a place to its neighbours, as far as limit_px, keeping straight on."""
    here, walk = first, [first]
    unused = free.copy()
    way = np.zeros(2)
    for _ in range(int(limit_px)):
        unused[here] = False
        near = np.flatnonzero(unused & (np.abs(spine - spine[here]).max(axis=1) <= 2))
        if not len(near):
            break
        steps = (spine[near] - spine[here]).astype(float)
        chosen = int(np.argmax(steps @ way + 0.01 * np.hypot(*steps.T)))
        way = 0.8 * way + steps[chosen]
        here = int(near[chosen])
        walk.append(here)
    return np.array(walk)


def _distance_to(spine: Places, walked: Places) -> NDArray[np.float64]:
    """Return how far each place lies from a walked line, by way of every fifth place on it."""
    apart = spine[:, None, :] - walked[None, ::5, :]
    return np.asarray(np.hypot(apart[..., 0], apart[..., 1]).min(axis=1))


def _background_strokes(matte: Float, rng: np.random.Generator) -> list[PaintedStroke]:
    """Return three wavy strokes through the widest gaps between the boughs."""
    framed = np.pad((matte < 0.02).astype(np.uint8), 1)
    gap = cv2.distanceTransform(framed, cv2.DIST_L2, 5)[1:-1, 1:-1].copy()
    found = []
    for _ in range(3):
        row, column = np.unravel_index(int(np.argmax(gap)), gap.shape)
        room = min(float(gap[row, column]), 0.2 * max(matte.shape))
        t = np.linspace(-0.6, 0.6, 6)
        turn = rng.uniform(0, np.pi)
        x = np.clip(column + room * t * np.cos(turn), 0, matte.shape[1] - 1)
        y = np.clip(row + room * t * np.sin(turn), 0, matte.shape[0] - 1)
        points = tuple(zip(x.tolist(), y.tolist(), strict=True))
        found.append(PaintedStroke(points, max(5.0, 0.25 * room), "background"))
        cv2.circle(gap, (int(column), int(row)), int(1.5 * room) + 1, 0.0, -1)
    return found
