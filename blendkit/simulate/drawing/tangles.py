"""Boughs by space colonisation: shoots grow towards free room, widths follow from what they carry.

An independent second maker of boughs, so that nothing is tuned to the first one's habits
(Runions, Lane & Prusinkiewicz 2007; widths by the pipe rule width**n = sum of the branches').
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from blendkit.simulate.drawing.strands import Path, smooth_path

Points = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class RoomStyle:
    """How a crown fills its room; lengths in units (px of an 800 px high frame).

    step: length of one growth step; reach: how far a tip sees free room; clear: room counts as
    taken within this distance; tip, pipe: width of the last twigs and exponent of the pipe rule.
    """

    step: float = 9.0
    reach: float = 110.0
    clear: float = 22.0
    tip: float = 1.3
    pipe: float = 2.3
    jitter: float = 0.25
    widest: float = 26.0


def grow_into(
    room: Points,
    root: tuple[float, float],
    style: RoomStyle,
    *,
    unit_px: float,
    rng: np.random.Generator,
) -> list[Path]:
    """Return paths of a plant that grows from root into room (n, 2) canvas px, twigs first."""
    nodes, parents = _nodes(room, np.array(root), style, unit_px, rng)
    widths = _widths(parents, style) * unit_px
    return _paths(nodes, parents, widths, unit_px)


def _nodes(
    room: Points, root: Points, style: RoomStyle, unit_px: float, rng: np.random.Generator
) -> tuple[Points, NDArray[np.int64]]:
    """Grow node by node until no free room is in reach."""
    step, reach, clear = (unit_px * v for v in (style.step, style.reach, style.clear))
    nodes, parents = [root], [-1]
    nearest = np.argmin(np.hypot(*(room - root).T))
    while np.hypot(*(room[nearest] - nodes[-1])) > 0.8 * reach:
        way = room[nearest] - nodes[-1]
        way = way / np.hypot(*way) + rng.normal(0, 0.15, 2)
        nodes.append(nodes[-1] + step * way / np.hypot(*way))
        parents.append(len(nodes) - 2)
    free = room
    for _ in range(400):
        if not len(free):
            break
        distance, owner = cKDTree(np.array(nodes)).query(free, distance_upper_bound=reach)
        seen = np.isfinite(distance)
        if not seen.any():
            break
        grown = len(nodes)
        for node in np.unique(owner[seen]):
            pulls = free[seen & (owner == node)] - nodes[node]
            way = (pulls / np.hypot(*pulls.T)[:, None]).sum(axis=0)
            way = way / max(np.hypot(*way), 1e-9) + rng.normal(0, style.jitter, 2)
            nodes.append(nodes[node] + step * way / max(np.hypot(*way), 1e-9))
            parents.append(int(node))
        taken, _ = cKDTree(np.array(nodes[grown:])).query(free)
        free = free[taken > clear]
    return np.array(nodes), np.array(parents)


def _widths(parents: NDArray[np.int64], style: RoomStyle) -> Points:
    power = np.zeros(len(parents))
    for node in range(len(parents) - 1, 0, -1):
        power[node] = power[node] or style.tip**style.pipe
        power[parents[node]] += power[node] + 0.02 * style.tip**style.pipe
    return np.asarray(np.minimum(power ** (1 / style.pipe), style.widest))


def _paths(nodes: Points, parents: NDArray[np.int64], widths: Points, unit_px: float) -> list[Path]:
    """Cut the tree into paths that each follow the widest child; thin ones first."""
    children: list[list[int]] = [[] for _ in nodes]
    for node, parent in enumerate(parents):
        if parent >= 0:
            children[parent].append(node)
    paths = []
    starts = [(0, 0)]
    while starts:
        before, node = starts.pop()
        chain = [before, node] if before != node else [node]
        while children[node]:
            ranked = sorted(children[node], key=lambda child: -widths[child])
            starts += [(node, child) for child in ranked[1:]]
            node = ranked[0]
            chain.append(node)
        path = np.column_stack([nodes[chain], widths[chain]])
        if len(path) > 1:
            path[0, 2] = path[1, 2]
            paths.append(smooth_path(_thinned(path), 6 * unit_px))
    return sorted(paths, key=lambda path: float(path[0, 2]))


def _thinned(path: Path) -> Path:
    """Keep every second knot, so that the curve runs smoothly through growth steps."""
    return path if len(path) < 5 else np.concatenate([path[:-1:2], path[-1:]])
