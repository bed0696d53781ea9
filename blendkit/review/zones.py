"""Zones that a click takes: connected regions of one role, given back as strokes."""

import cv2
import numpy as np
from numpy.typing import NDArray

from blendkit.filters.resample import coordinate_at_scale
from blendkit.frame import Bool
from blendkit.masks.strokes import Role, Stroke
from blendkit.merge import Merged
from blendkit.sharpness.relative import filled

_WORKING_PX = 400
_SOFTER_PX = 2.0
_LEAST_SHARE = 3e-4


def zones_of(merged: Merged) -> NDArray[np.int32]:
    """Return the numbered zones of a small merge, int32 (height, width), at about 400 px; 0 = none.

    A zone is connected, and in it the background frame is the softer one, or the sharper one, or
    neither; found foreground is a kind of its own.
    """
    height, width = merged.matte.alpha.shape
    factor = max(max(height, width) / _WORKING_PX, 1.0)
    size = (max(round(width / factor), 1), max(round(height / factor), 1))
    softness = filled(merged.blur, (width, height), apart=merged.hers)
    softer = cv2.resize(softness, size, interpolation=cv2.INTER_AREA)
    matte = cv2.resize(merged.matte.alpha, size, interpolation=cv2.INTER_AREA)
    kinds = np.select([matte > 0.2, softer > _SOFTER_PX, softer < -_SOFTER_PX], [1, 2, 3], 4)
    zones = np.zeros(kinds.shape, np.int32)
    for kind in range(1, 5):
        count, labels, stats, _ = cv2.connectedComponentsWithStats(
            (kinds == kind).astype(np.uint8), connectivity=8
        )
        for number in range(1, count):
            if stats[number, cv2.CC_STAT_AREA] >= _LEAST_SHARE * kinds.size:
                zones[labels == number] = zones.max() + 1
    return zones


def zone_strokes(
    zones: NDArray[np.int32], place: tuple[float, float], size: tuple[int, int], role: Role
) -> tuple[Stroke, ...]:
    """Return strokes that cover the zone at a place.

    Parameters
    ----------
    zones : from `zones_of`.
    place : (x, y) in px of the background frame.
    size : (width, height) of the background frame, px.
    role : what the strokes paint.

    Returns
    -------
    tuple of Stroke
        One along each run of cells in a row; empty where there is no zone.
    """
    height, width = zones.shape
    cell_px = size[0] / width
    column, row = (int((value + 0.5) / cell_px) for value in place)
    if not (0 <= row < height and 0 <= column < width) or zones[row, column] == 0:
        return ()
    region: Bool = np.asarray(zones == zones[row, column])
    return tuple(
        _run(row, first, last, cell_px, role)
        for row in np.flatnonzero(region.any(axis=1)).tolist()
        for first, last in _runs(region[row])
    )


def _runs(row: Bool) -> list[tuple[int, int]]:
    """Return (first, last) column of each run of True.

    >>> _runs(np.array([True, True, False, True]))
    [(0, 1), (3, 3)]
    """
    steps = np.diff(np.concatenate([[0], row.astype(np.int8), [0]]))
    starts, ends = np.flatnonzero(steps == 1), np.flatnonzero(steps == -1) - 1
    return list(zip(starts.tolist(), ends.tolist(), strict=True))


def _run(row: int, first: int, last: int, cell_px: float, role: Role) -> Stroke:
    y = round(coordinate_at_scale(row, cell_px), 1)
    ends = sorted({round(coordinate_at_scale(x, cell_px), 1) for x in (first, last)})
    # The diagonal of a cell, so that neighbouring rows leave no gap.
    return Stroke(tuple((x, y) for x in ends), round(1.42 * cell_px, 1), role)
