"""What a line "nearer" says: the order in depth along it, where blur alone cannot tell.

Ground that lies on no plane (a hill, a bend in the road) has no order that blur shows, so nothing
is said of it.  A line over it, from far to near, is the user's word that distance runs one way
there; then sharp, soft, sharp along the line is as impossible for a lens as on a plane.
"""

import cv2
import numpy as np
from numpy.typing import NDArray

from blendkit.filters.resample import coordinate_at_scale
from blendkit.frame import Bool, Float
from blendkit.hints import NearerLine
from blendkit.midground import ResultBlur

_STEPS = 48
_LEAST_CELLS = 12
_SURE = 0.15
_AGAINST_PX = 1.0
"""Fall of the signed disc along a line, px at 1200 px, that contradicts it: less is measurement."""


def contradicts(line: NearerLine, nearness: Float, region: Bool, blur: ResultBlur) -> bool:
    """Tell whether a surface gets farther along a line that should run nearer.

    nearness : signed background disc by the surface's plane, the map's shape; region : bool, same.
    """
    place, band = _places_along(line, blur)
    inside = band & region
    if inside.sum() < _LEAST_CELLS or np.ptp(place[inside]) == 0:
        return False
    rise = np.polyfit(place[inside], nearness[inside], 1)[0] * np.ptp(place[inside])
    unit = max(blur.disc_px.shape) * blur.factor / 1200
    return bool(rise < -_AGAINST_PX * unit)


def soft_along(
    line: NearerLine, blur: ResultBlur, pasted: Float, usable: Bool, least_px: float
) -> Bool | None:
    """Return where a result is soft between two sharp stretches of a line; None = nowhere.

    Parameters
    ----------
    line : from far to near, px of the picture.
    blur : ResultBlur
    pasted : share of the foreground frame, float32, the map's shape.
    usable : bool, same shape: False where something stands in front.
    least_px : disc from which a place counts as soft, px.

    Returns
    -------
    ndarray or None
        bool, the map's shape, within the line's width.
    """
    place, band = _places_along(line, blur)
    band &= usable & (blur.confidence > _SURE)
    if band.sum() < _LEAST_CELLS:
        return None
    number = np.clip((place * _STEPS).astype(np.int32), 0, _STEPS - 1)
    steps = np.unique(number[band])
    disc = np.array([np.median(blur.disc_px[band & (number == k)]) for k in steps])
    front = np.array([np.median(pasted[band & (number == k)]) for k in steps]) > 0.5
    sharp = disc < least_px
    far, near = steps[sharp & ~front], steps[sharp & front]
    if not far.size or not near.size:
        return None
    # As on a plane, the near sharp stretch must be the foreground frame's.
    soft = steps[(disc >= least_px) & (steps > np.median(far)) & (steps < np.median(near))]
    found = band & np.isin(number, soft)
    return found if found.sum() >= _LEAST_CELLS else None


def _places_along(line: NearerLine, blur: ResultBlur) -> tuple[Float, Bool]:
    """Return for the map's cells the nearest place on a line, 0 far to 1 near, and its band."""
    factor = blur.factor
    points = coordinate_at_scale(np.asarray(line.points, np.float64), 1 / factor)
    shape = blur.disc_px.shape
    dense, share = _dense(points)
    marked = np.full(shape, 255, np.uint8)
    at = np.rint(dense).astype(int)
    inside = (at >= 0).all(axis=1) & (at[:, 0] < shape[1]) & (at[:, 1] < shape[0])
    marked[at[inside, 1], at[inside, 0]] = 0
    if not inside.any():
        return np.zeros(shape, np.float32), np.zeros(shape, np.bool_)
    distance, labels = cv2.distanceTransformWithLabels(
        marked, cv2.DIST_L2, 5, labelType=cv2.DIST_LABEL_PIXEL
    )
    of_label = np.zeros(int(labels.max()) + 1, np.float32)
    of_label[labels[at[inside, 1], at[inside, 0]]] = share[inside]
    # A line is drawn thin; ground beside it is as far away as far as a cell or two.
    reach = max(line.width_px / factor / 2, 1.5)
    return of_label[labels], np.asarray(distance <= reach, np.bool_)


def _dense(points: NDArray[np.float64]) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Return places every half cell along a line, and their share of its length."""
    steps = np.hypot(*np.diff(points, axis=0).T)
    length = np.concatenate([[0.0], np.cumsum(steps)])
    at = np.linspace(0, length[-1], max(int(2 * length[-1]), 2))
    dense = np.column_stack([np.interp(at, length, points[:, k]) for k in (0, 1)])
    return dense, at / max(float(length[-1]), 1e-9)
