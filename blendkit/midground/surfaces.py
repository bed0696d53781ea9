"""Ground, roads and walls: regions on which the signed disc is linear over the picture.

Over a plane 1/distance is linear in picture coordinates, and so is the signed disc of a thin lens.
Planes are found one after the other by random samples of three places (Fischler & Bolles 1981,
doi:10.1145/358669.358692) and then fitted by least squares.  What lies on no plane stays unknown:
nothing is flagged there.

Ground too plain for its blur to be measured takes the order of the ground it joins, up to the
background frame's focus and no farther: level ground ends at the horizon, which lies behind any
focus, so ground does run on as far as that unless something stands before it.
"""

from dataclasses import replace

import cv2
import numpy as np
from numpy.typing import NDArray

from blendkit.filters.circles import round_kernel
from blendkit.frame import Bool, Float
from blendkit.midground import ResultBlur, Surface

_SURE = 0.15
_TRIES = 300
_SOME = 1500
"""Places, drawn at random, that planes are tried on."""
_LEAST_TRIANGLE = 0.002
"""Least triangle that a plane is laid through: twice its area, over that of the box around all."""
_LEAST_SHARE = 0.05
_MOST = 3
_RECEDES = 0.5
"""Farthest over nearest signed disc of a surface that recedes to the focus: a wall's is 1."""


def find_surfaces(blur: ResultBlur, usable: Bool, *, seed: int = 0) -> tuple[Surface, ...]:
    """Return the planes that a picture shows, the largest first.

    Parameters
    ----------
    blur : ResultBlur
    usable : bool, the map's shape: False where something else stands in front.
    seed : of the random samples.
    """
    rng = np.random.default_rng(seed)
    open_ = usable & (blur.confidence > _SURE)
    unseen = usable & ~open_
    found: list[Surface] = []
    while len(found) < _MOST:
        surface = _next_surface(blur, open_, rng)
        if surface is None:
            break
        found.append(surface)
        open_ = open_ & ~surface.region
    for index, surface in enumerate(found):
        found[index] = continued(surface, unseen)
        unseen = unseen & ~found[index].region
    return tuple(found)


def continued(surface: Surface, unseen: Bool) -> Surface:
    """Return a surface with the plain places that join it, up to the background frame's focus."""
    x = surface.discs_px()
    nearest, farthest = (float(np.quantile(x[surface.seen], q)) for q in (0.98, 0.02))
    if farthest > _RECEDES * nearest:
        return surface
    run_on = surface.region | (unseen & (x >= 0))
    _, labels = cv2.connectedComponents(run_on.astype(np.uint8), connectivity=4)
    joined = np.isin(labels, np.unique(labels[surface.seen]))
    return replace(surface, region=np.asarray(run_on & joined, np.bool_))


def tolerance_px(blur: ResultBlur) -> Float:
    """Return how far off a plane a disc may be measured, px: 0.6 at 1200 px, and a tenth."""
    unit = max(blur.disc_px.shape) * blur.factor / 1200
    x = blur.background_px
    scale = np.maximum(np.abs(x), np.abs(blur.foreground_px))
    return np.asarray(0.6 * unit + 0.10 * scale, np.float32)


def _next_surface(blur: ResultBlur, open_: Bool, rng: np.random.Generator) -> Surface | None:
    rows, columns = np.nonzero(open_)
    if len(rows) < _LEAST_SHARE * open_.size:
        return None
    allowed = tolerance_px(blur)[rows, columns]
    x = blur.background_px[rows, columns].astype(np.float64)
    places = np.column_stack([np.ones(len(rows)), columns, rows]).astype(np.float64)
    plane = _best_plane(places, x, allowed, rng)
    for _ in range(4):
        inside = np.abs(places @ plane - x) < allowed
        if inside.sum() < 10:
            return None
        scaled = places[inside] / allowed[inside, None]
        fitted = np.linalg.lstsq(scaled, x[inside] / allowed[inside], rcond=None)[0]
        plane = np.asarray(fitted, np.float64)
    fits = np.zeros(open_.shape, np.uint8)
    fits[rows[inside], columns[inside]] = 1
    region = _grown(fits)
    if region.mean() < _LEAST_SHARE:
        return None
    return Surface(region, (float(plane[0]), float(plane[1]), float(plane[2])), region)


def _best_plane(
    places: NDArray[np.float64], x: NDArray[np.float64], allowed: Float, rng: np.random.Generator
) -> NDArray[np.float64]:
    """Return the plane through three places that the most others agree with."""
    some = rng.choice(len(x), min(len(x), _SOME), replace=False)
    threes = np.array([rng.choice(some, 3, replace=False) for _ in range(_TRIES)])
    matrices = places[threes]
    spread = np.ptp(places[:, 1]) * np.ptp(places[:, 2])
    wide = np.abs(np.linalg.det(matrices)) >= _LEAST_TRIANGLE * spread
    if not wide.any():
        return np.zeros(3)
    planes = np.linalg.solve(matrices[wide], x[threes[wide]][..., None])[..., 0]
    off = np.abs(planes @ places[some].T - x[some])
    best = int(np.argmax((off < allowed[some]).sum(axis=1)))
    return np.asarray(planes[best], np.float64)


def _grown(fits: NDArray[np.uint8]) -> Bool:
    """Return the largest connected part of what fits, small holes closed."""
    kernel = round_kernel(max(round(0.02 * max(fits.shape)), 1))
    side = len(kernel)
    padded = cv2.copyMakeBorder(fits, side, side, side, side, cv2.BORDER_REPLICATE)
    closed = cv2.morphologyEx(
        cv2.morphologyEx(padded, cv2.MORPH_OPEN, np.ones((3, 3))), cv2.MORPH_CLOSE, kernel
    )
    count, labels, stats, _ = cv2.connectedComponentsWithStats(closed[side:-side, side:-side])
    if count < 2:
        return np.zeros(fits.shape, np.bool_)
    return np.asarray(labels == 1 + int(np.argmax(stats[1:, cv2.CC_STAT_AREA])), np.bool_)
