"""Where boughs may grow: a photographer keeps them off the sitter's face."""

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from blendkit.simulate.drawing.strands import Path

Ellipse = tuple[float, float, float, float]
"""Middle x, y and the two diameters along x and y, canvas px."""

_ATTACHED_UNITS = 8.0


def kept_clear(paths: Sequence[Path], room: Ellipse, *, unit_px: float) -> list[Path]:
    """Return paths cut back where they would enter an ellipse, with all that grew from the cut.

    paths are ordered as painters want them, limbs last; the order is kept.
    """
    if not paths:
        return []
    points = np.concatenate([path[:, :2] for path in paths])
    owner = np.repeat(np.arange(len(paths)), [len(path) for path in paths])
    first = np.searchsorted(owner, np.arange(len(paths)))
    starts = np.array([path[0, :2] for path in paths])
    near = cKDTree(points).query_ball_point(starts, _ATTACHED_UNITS * unit_px)
    stands = np.zeros(len(points), bool)
    kept: list[Path] = []
    for index in range(len(paths) - 1, -1, -1):
        around = np.array(near[index])
        others = around[owner[around] != index]
        if len(others) and not stands[others].any() and (owner[others] > index).any():
            continue
        short = _cut(paths[index], room, unit_px)
        if short is not None:
            kept.append(short)
            stands[first[index] : first[index] + len(short)] = True
    return kept[::-1]


def _cut(path: Path, room: Ellipse, unit_px: float) -> Path | None:
    """Return what lies before a path enters the ellipse, drawn out to a fine tip."""
    inside = np.flatnonzero(_within(path, room))
    if not len(inside):
        return path
    short = path[: inside[0]].copy()
    if len(short) < 4:
        return None
    taper = np.clip(np.arange(len(short))[::-1] / 14, 0, 1) ** 0.7
    short[:, 2] = np.maximum(short[:, 2] * taper, np.minimum(short[:, 2], 1.2 * unit_px))
    return short


def _within(path: Path, room: Ellipse) -> NDArray[np.bool_]:
    x, y, across, down = room
    return np.asarray(np.hypot((path[:, 0] - x) * 2 / across, (path[:, 1] - y) * 2 / down) < 1)
