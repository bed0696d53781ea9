"""Finds bright points behind: dots of the sharp frame whose light the soft frame shows as discs.

The brightest are taken out first, so that a fainter one beside them is measured without them (after
Hoegbom 1974, Astronomy & Astrophysics Supplement 15, 417; from memory).
"""

import numpy as np
from numpy.typing import NDArray

from blendkit.filters.bands import slow_gaussian
from blendkit.filters.circles import distance_px, sector, window_around
from blendkit.filters.resample import any_in_cells, reduce_by
from blendkit.filters.robust import MAD_TO_SIGMA, median
from blendkit.filters.tiles import Window
from blendkit.frame import Bool, Float, luminance
from blendkit.masks.light_dots import Dot, find_dots
from blendkit.masks.lights import BEYOND, Lights, PointLight

_WORKING_RADIUS_PX = 12.0
"""Radius of the typical disc in the reduced picture, about: a dot is then still some px wide."""
_LEAST_RADIUS_PX = 4.0
_EVERY = 4
_LARGEST_DOT = 0.8
"""Radius of the dot, of its disc's: what is larger is no point."""
_SCALES = (0.8, 0.9, 1.0, 1.12, 1.25)
_LEAST_STEP = 0.02
_OVER_TEXTURE, _OVER_GROUND = 2.0, 1.5
"""Step at the disc's rim, in standard deviations of the light outside it, and of that light."""
_OVER_TEXTURE_CLEAR, _OVER_GROUND_CLEAR, _CLEAR_RIM = 3.0, 0.5, 0.6
"""The same for a clipped dot whose disc has so much of its step at the rim: a lamp before bright
leaves.  On five pairs with lamps it finds 36 more of them (67 without), on 33 others none more."""
_OFF_CENTRE = 0.35
"""How far a disc may lie from its dot's centre, of its radius: what stands behind is displaced by
parallax, and a twig may cross the dot."""
_ROUNDS = 4
_LEAST_OF_EXPECTED, _MOST_OF_EXPECTED = 0.35, 3.0
"""The disc's light, of what the dot holds: a clipped dot holds less than its disc shows."""
_SECTORS, _LEAST_SECTORS = 8, 0.75
_LEAST_SEEN = 8
"""Px that a ring must hold to be judged by."""


def find_lights(background: Float, aligned: Float, softness: Float, full: Bool) -> Lights:
    """Find bright points that the background frame spreads over discs.

    Parameters
    ----------
    background, aligned : ndarray
        Both frames on one grid in one light, float32 (height, width, 3), linear.
    softness : ndarray
        Disc by which the background frame is the softer one, px, float32 (height, width).
    full : ndarray
        bool (height, width), where the foreground frame is clipped.

    Returns
    -------
    Lights
        Without points where none is found.
    """
    discs = softness[::_EVERY, ::_EVERY]
    spread = discs[discs > _LEAST_RADIUS_PX]
    typical = float(np.median(spread)) / 2 if spread.size else 0.0
    factor = max(round(typical / _WORKING_RADIUS_PX), 1)
    soft, sharp = reduce_by(background, factor), reduce_by(aligned, factor)
    if typical < _LEAST_RADIUS_PX * factor:
        return Lights((), soft, factor)
    typical /= factor
    radii = reduce_by(softness, factor) / np.float32(2 * factor)
    left = luminance(soft)
    points, region = [], np.zeros(left.shape, np.bool_)
    for dot in find_dots(sharp, typical, any_in_cells(full, factor)):
        point = _borne_out(dot, soft, left, (typical, float(radii[dot.row, dot.column])))
        if point is not None:
            window = window_around(point.centre, BEYOND * point.radius_px + 2, left.shape)
            distance = distance_px(window, point.centre)
            level = float(luminance(point.light[None, None])[0, 0])
            left[window] -= level * (distance < point.radius_px)
            region[window] |= distance < BEYOND * point.radius_px + 1
            points.append(point)
    ground = _filled_in(soft, region, typical) if points else soft
    return Lights(tuple(points), ground, factor)


def _borne_out(
    dot: Dot, soft: Float, left: Float, likely_px: tuple[float, float]
) -> PointLight | None:
    """Return the point light of a dot, if the soft frame shows a disc of its light.

    left: luminance of the soft frame without the points found so far.  likely_px: radii that the
    disc may have, as measured over the frame and at the dot, where the dot itself may mislead.
    """
    smallest = max(_LEAST_RADIUS_PX, dot.radius_px / _LARGEST_DOT)
    radii = [scale * radius for radius in likely_px if radius > smallest for scale in _SCALES]
    if not radii:
        return None
    window = window_around(dot.centre, (1.7 + _OFF_CENTRE) * max(radii) + 3, left.shape)
    light = left[window]
    distance = distance_px(window, dot.centre)
    rings = _Rings(distance, light)
    rim, radius_px = max((_step(rings, radius), radius) for radius in radii)
    expected = dot.energy / (np.pi * radius_px**2)
    within, outside = rings.between(0, 0.8, radius_px), rings.between(1.15, 1.5, radius_px)
    if within.size < _LEAST_SEEN or outside.size < _LEAST_SEEN:
        return None
    surroundings = median(outside)
    step = float(within.mean()) - surroundings
    texture = MAD_TO_SIGMA * median(np.abs(outside - surroundings))
    too_bright = not dot.clipped and step > _MOST_OF_EXPECTED * expected
    if too_bright or step < _LEAST_OF_EXPECTED * expected:
        return None
    if not _stands_out(step, rim, texture, surroundings, clipped=dot.clipped):
        return None
    sectors = sector(window, dot.centre, _SECTORS)
    if not _all_around(distance / radius_px, light, sectors, 0.4 * step):
        return None
    centre = _centred(window, light, dot.centre, radius_px, surroundings + step / 2)
    reach = distance_px(window, centre) / radius_px
    inside, around = reach < 0.8, (reach > 1.15) & (reach < 1.5)
    colour = soft[window][inside].mean(axis=0) - np.median(soft[window][around], axis=0)
    return PointLight(dot, centre, radius_px, np.maximum(colour, 0).astype(np.float32))


def _stands_out(
    step: float, rim: float, texture: float, surroundings: float, *, clipped: bool
) -> bool:
    """Return whether a disc is lighter enough than what surrounds it, most of it at its rim."""
    if clipped and rim > _CLEAR_RIM * step:
        over = max(_OVER_TEXTURE_CLEAR * texture, _OVER_GROUND_CLEAR * surroundings)
    else:
        over = max(_OVER_TEXTURE * texture, _OVER_GROUND * surroundings)
    return step > max(_LEAST_STEP, over) and rim > 0.5 * step


def _centred(
    window: Window, light: Float, start: tuple[float, float], radius_px: float, half: float
) -> tuple[float, float]:
    """Return the disc's centre, (x, y) in px: the middle of what is lighter than half its step.

    window: around `start`; a disc that the frame's edge cuts through keeps that centre.
    """
    lighter, centre = light > half, start
    rows, columns = np.mgrid[window]
    reach_px = BEYOND * radius_px
    for places, at in ((columns, start[0]), (rows, start[1])):
        if places.min() > at - reach_px or places.max() < at + reach_px:
            return start
    for _ in range(_ROUNDS):
        here = lighter & (distance_px(window, centre) < reach_px)
        if not here.any():
            return start
        centre = float(columns[here].mean()), float(rows[here].mean())
    off_px = np.hypot(*np.subtract(centre, start))
    return centre if off_px < _OFF_CENTRE * radius_px else start


class _Rings:
    """Rings about a place.  Its px are put in the order of their distance once, for all rings."""

    def __init__(self, distance: Float, light: Float) -> None:
        order = np.argsort(distance, axis=None)
        self._distance, self._light = distance.ravel()[order], light.ravel()[order]

    def between(self, least: float, most: float, radius_px: float) -> Float:
        """Return the light from `least` to less than `most` of a radius, (n,)."""
        begin, end = np.searchsorted(self._distance, (least * radius_px, most * radius_px))
        return self._light[begin:end]


def _step(rings: _Rings, radius_px: float) -> float:
    """Return by how much it is lighter just inside the rim than just outside."""
    inside, outside = rings.between(0.7, 0.93, radius_px), rings.between(1.07, 1.3, radius_px)
    if inside.size < _LEAST_SEEN or outside.size < _LEAST_SEEN:
        return -1.0
    return median(inside) - median(outside)


def _all_around(reach: Float, light: Float, sectors: NDArray[np.intp], least: float) -> bool:
    """Return whether the step is there in most directions: a disc's is, a chance patch's is not."""
    seen = []
    for index in range(_SECTORS):
        inside = (reach > 0.55) & (reach < 0.9) & (sectors == index)
        outside = (reach > 1.1) & (reach < 1.4) & (sectors == index)
        if inside.sum() >= 3 and outside.sum() >= 3:
            seen.append(float(light[inside].mean() - light[outside].mean()) > least)
    return len(seen) >= _SECTORS // 2 and sum(seen) >= _LEAST_SECTORS * len(seen)


def _filled_in(soft: Float, region: Bool, typical_px: float) -> Float:
    """Return a soft picture with a region filled from around it, by widening means."""
    known = (~region).astype(np.float32)
    filled = remaining = None
    for width in (0.3, 0.6, 1.2, 2.4, 4.8):
        sigma = width * 2 * typical_px
        share = slow_gaussian(known, sigma)[..., None]
        mean = slow_gaussian(soft * known[..., None], sigma) / (share + 1e-6)
        trust = np.clip(share / 0.05, 0, 1)
        if filled is None or remaining is None:
            filled, remaining = trust * mean, 1 - trust
        else:
            filled, remaining = filled + remaining * trust * mean, remaining * (1 - trust)
    assert filled is not None  # noqa: S101 - there are widths
    return np.asarray(np.where(region[..., None], filled, soft), np.float32)
