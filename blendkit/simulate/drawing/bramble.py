"""Long arching shoots that wander across each other: bramble, vine, whips of a hedge."""

import numpy as np

from blendkit.simulate.drawing.strands import Path, smooth_path


def shoots(
    start: tuple[float, float],
    heading_rad: float,
    *,
    count: int,
    length: float,
    width: float,
    unit_px: float,
    rng: np.random.Generator,
    fan: float = 0.5,
    spread_px: float = 0.0,
    sag: float = 0.3,
) -> list[Path]:
    """Return slender paths that start near one place and fan out.

    length, width: in units; fan: spread of the headings in radians; sag: how strongly tips bend
    back towards the ground; spread_px: how far the starts lie apart sideways.
    """
    paths: list[Path] = []
    for _ in range(count):
        aside = rng.uniform(-1, 1) * spread_px
        x = start[0] - aside * np.sin(heading_rad)
        y = start[1] + aside * np.cos(heading_rad)
        own = heading_rad + rng.normal(0, fan)
        stem = _whip(
            (x, y),
            own,
            length * rng.uniform(0.6, 1.3),
            width * rng.uniform(0.5, 1.4),
            sag,
            unit_px,
            rng,
        )
        paths += [*_side_shoots(stem, sag, unit_px, rng), stem]
    return [smooth_path(path, 6 * unit_px) for path in paths]


def _whip(
    start: tuple[float, float],
    heading: float,
    length: float,
    width: float,
    sag: float,
    unit_px: float,
    rng: np.random.Generator,
) -> Path:
    count = max(3, int(length / 26))
    turn = rng.normal(0, 0.02)
    x, y = start
    rows = []
    for index in range(count + 1):
        done = index / count
        rows.append((x, y, unit_px * max(width * (1 - 0.75 * done), 1.1)))
        turn = 0.85 * turn + rng.normal(0, 0.035)
        heading += turn + sag * 0.12 * done * np.cos(heading)
        x += unit_px * length / count * np.cos(heading)
        y += unit_px * length / count * np.sin(heading)
    return np.array(rows)


def _side_shoots(stem: Path, sag: float, unit_px: float, rng: np.random.Generator) -> list[Path]:
    found = []
    for index in range(2, len(stem) - 1):
        if rng.uniform() < 0.55:
            continue
        way = stem[index, :2] - stem[index - 1, :2]
        heading = np.arctan2(way[1], way[0]) + rng.choice([-1, 1]) * rng.uniform(0.3, 0.9)
        width = 0.6 * float(stem[index, 2]) / unit_px
        start = (float(stem[index, 0]), float(stem[index, 1]))
        found.append(_whip(start, heading, rng.uniform(30, 130), width, sag, unit_px, rng))
    return found
