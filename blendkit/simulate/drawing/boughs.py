"""Boughs that fork: limbs that wander, taper, and send out branches with spurs, as apples do."""

from dataclasses import dataclass

import numpy as np

from blendkit.simulate.drawing.strands import Path, smooth_path


@dataclass(frozen=True, slots=True)
class ForkStyle:
    """How boughs grow; lengths and widths in units (px of an 800 px high frame).

    width: of the limb where it enters the frame; thinnest: of the last twigs.
    length: of the limb; levels: forks of forks.
    wander: how far the direction strays, radians per 100 units.
    spread: mean angle of a fork in radians; lift: pull of the tips upwards.
    spacing: units between branches; spurs: share of twigs that carry short spurs.
    """

    width: float = 14.0
    thinnest: float = 1.3
    length: float = 700.0
    levels: int = 3
    wander: float = 0.35
    spread: float = 0.8
    lift: float = 0.15
    spacing: float = 70.0
    spurs: float = 0.6


def grow_bough(
    start: tuple[float, float],
    direction_rad: float,
    style: ForkStyle,
    *,
    unit_px: float,
    rng: np.random.Generator,
) -> list[Path]:
    """Return the paths of one bough, thin twigs first so that limbs are painted over them.

    start: where the limb begins, canvas px; direction_rad: 0 = right, positive = down.
    """
    grower = _Grower(style, unit_px, rng, [])
    grower.grow(np.array(start), direction_rad, width=style.width, length=style.length, level=0)
    return grower.paths[::-1]


@dataclass(frozen=True, eq=False, slots=True)
class _Grower:
    """Grows one bough; paths gathers what has grown, limbs before their twigs."""

    style: ForkStyle
    unit_px: float
    rng: np.random.Generator
    paths: list[Path]

    def grow(self, start: Path, heading: float, *, width: float, length: float, level: int) -> None:
        """Grow a limb and, on both of its sides, what branches from it."""
        tip = max(self.style.thinnest, width * (0.25 if level == 0 else 0.35))
        limb, headings = self._limb(start, heading, (width, tip), length)
        self.paths.append(smooth_path(limb, max(5.0 * self.unit_px, 4.0)))
        if level >= self.style.levels or length < 25:
            return
        side = self.rng.choice([-1.0, 1.0])
        at = self.rng.uniform(0.12, 0.3) if level == 0 else self.rng.uniform(0.2, 0.45)
        while at < 0.97:
            index = min(int(at * (len(limb) - 1)), len(limb) - 2)
            turn = side * self.style.spread * self.rng.uniform(0.6, 1.35)
            self.grow(
                limb[index, :2],
                headings[index] + turn,
                width=self._branch_width(float(limb[index, 2])),
                length=length * (1 - 0.6 * at) * self.rng.uniform(0.3, 0.6),
                level=level + 1,
            )
            side = -side if self.rng.uniform() < 0.8 else side
            at += self.style.spacing * self.rng.uniform(0.5, 1.5) / length
        if level > 0 and self.rng.uniform() < self.style.spurs:
            self._spurs(limb, headings)

    def _branch_width(self, parent_px: float) -> float:
        share = self.rng.uniform(0.4, 0.68)
        return max(parent_px / self.unit_px * share, self.style.thinnest)

    def _limb(
        self, start: Path, heading: float, widths: tuple[float, float], length: float
    ) -> tuple[Path, list[float]]:
        """Return knots (x, y, width) of one limb and its heading at each."""
        step = 22.0
        count = max(3, int(length / step))
        stride = self.unit_px * length / count
        x, y = start[0], start[1]
        rows, headings = [], []
        bend = 0.0
        for index in range(count + 1):
            done = index / count
            width = widths[0] + (widths[1] - widths[0]) * done**0.8
            rows.append((x, y, self.unit_px * width))
            headings.append(heading)
            bend = 0.6 * bend + self.rng.normal(0, self.style.wander * step / 100)
            heading += bend - self.style.lift * np.cos(heading) * done * step / 100
            x, y = x + stride * np.cos(heading), y + stride * np.sin(heading)
        return np.array(rows), headings

    def _spurs(self, limb: Path, headings: list[float]) -> None:
        """Add short stubs that end in a bud."""
        for knot, heading in zip(limb[1:], headings[1:], strict=True):
            if self.rng.uniform() < 0.4:
                continue
            turn = heading + self.rng.choice([-1, 1]) * self.rng.uniform(0.7, 1.3)
            way = self.rng.uniform(5, 14) * self.unit_px * np.array([np.cos(turn), np.sin(turn)])
            width = max(self.style.thinnest * self.unit_px, 0.5 * float(knot[2]))
            shape = ((0.0, 1.0), (0.5, 0.85), (0.85, 1.35), (1.0, 0.7))
            self.paths.append(np.array([(*(knot[:2] + at * way), width * by) for at, by in shape]))
