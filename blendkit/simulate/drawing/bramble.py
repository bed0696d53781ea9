"""Long arching shoots that wander across each other: bramble, vine, whips of a hedge."""

from dataclasses import dataclass

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
    whips = _Whips(sag, unit_px, rng)
    paths: list[Path] = []
    for _ in range(count):
        aside = rng.uniform(-1, 1) * spread_px
        x = start[0] - aside * np.sin(heading_rad)
        y = start[1] + aside * np.cos(heading_rad)
        own = heading_rad + rng.normal(0, fan)
        long, wide = length * rng.uniform(0.6, 1.3), width * rng.uniform(0.5, 1.4)
        stem = whips.grow((x, y), own, length=long, width=wide)
        paths += [*whips.side_shoots(stem), stem]
    return [smooth_path(path, 6 * unit_px) for path in paths]


@dataclass(frozen=True, eq=False, slots=True)
class _Whips:
    """Grows single shoots."""

    sag: float
    unit_px: float
    rng: np.random.Generator

    def grow(
        self, start: tuple[float, float], heading: float, *, length: float, width: float
    ) -> Path:
        count = max(3, int(length / 26))
        stride = self.unit_px * length / count
        turn = self.rng.normal(0, 0.02)
        x, y = start
        rows = []
        for index in range(count + 1):
            done = index / count
            rows.append((x, y, self.unit_px * max(width * (1 - 0.75 * done), 1.1)))
            turn = 0.85 * turn + self.rng.normal(0, 0.035)
            heading += turn + self.sag * 0.12 * done * np.cos(heading)
            x += stride * np.cos(heading)
            y += stride * np.sin(heading)
        return np.array(rows)

    def side_shoots(self, stem: Path) -> list[Path]:
        """Return thinner shoots that leave the stem at random knots, on both sides."""
        found = []
        for index in range(2, len(stem) - 1):
            if self.rng.uniform() < 0.55:
                continue
            way = stem[index, :2] - stem[index - 1, :2]
            aside = self.rng.choice([-1, 1]) * self.rng.uniform(0.3, 0.9)
            start = (float(stem[index, 0]), float(stem[index, 1]))
            width = 0.6 * float(stem[index, 2]) / self.unit_px
            length = self.rng.uniform(30, 130)
            heading = float(np.arctan2(way[1], way[0])) + aside
            found.append(self.grow(start, heading, length=length, width=width))
        return found
