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
    paths: list[Path] = []
    _grow(np.array(start), direction_rad, style.width, style.length, 0, style, unit_px, rng, paths)
    return paths[::-1]


def _grow(
    start: Path,
    heading: float,
    width: float,
    length: float,
    level: int,
    style: ForkStyle,
    unit_px: float,
    rng: np.random.Generator,
    paths: list[Path],
) -> None:
    tip = max(style.thinnest, width * (0.25 if level == 0 else 0.35))
    limb, headings = _limb(start, heading, (width, tip), length, style, unit_px, rng)
    paths.append(smooth_path(limb, max(5.0 * unit_px, 4.0)))
    if level >= style.levels or length < 25:
        return
    side = rng.choice([-1.0, 1.0])
    at = rng.uniform(0.12, 0.3) if level == 0 else rng.uniform(0.2, 0.45)
    while at < 0.97:
        index = min(int(at * (len(limb) - 1)), len(limb) - 2)
        parent = float(limb[index, 2]) / unit_px
        child = max(parent * rng.uniform(0.4, 0.68), style.thinnest)
        reach = length * (1 - 0.6 * at) * rng.uniform(0.3, 0.6)
        turn = side * style.spread * rng.uniform(0.6, 1.35)
        _grow(
            limb[index, :2],
            headings[index] + turn,
            child,
            reach,
            level + 1,
            style,
            unit_px,
            rng,
            paths,
        )
        side = -side if rng.uniform() < 0.8 else side
        at += style.spacing * rng.uniform(0.5, 1.5) / length
    if level > 0 and rng.uniform() < style.spurs:
        _spurs(limb, headings, style, unit_px, rng, paths)


def _limb(
    start: Path,
    heading: float,
    widths: tuple[float, float],
    length: float,
    style: ForkStyle,
    unit_px: float,
    rng: np.random.Generator,
) -> tuple[Path, list[float]]:
    """Return knots (x, y, width) of one limb and its heading at each."""
    step = 22.0
    count = max(3, int(length / step))
    x, y = start[0], start[1]
    rows, headings = [], []
    bend = 0.0
    for index in range(count + 1):
        done = index / count
        rows.append((x, y, unit_px * (widths[0] + (widths[1] - widths[0]) * done**0.8)))
        headings.append(heading)
        bend = 0.6 * bend + rng.normal(0, style.wander * step / 100)
        lift = -style.lift * np.cos(heading) * np.sign(np.cos(heading)) * done * step / 100
        heading += bend + lift * np.sign(np.cos(heading))
        stride = unit_px * length / count
        x, y = x + stride * np.cos(heading), y + stride * np.sin(heading)
    return np.array(rows), headings


def _spurs(
    limb: Path,
    headings: list[float],
    style: ForkStyle,
    unit_px: float,
    rng: np.random.Generator,
    paths: list[Path],
) -> None:
    """Add short stubs that end in a bud."""
    for index in range(1, len(limb)):
        if rng.uniform() < 0.4:
            continue
        turn = headings[index] + rng.choice([-1, 1]) * rng.uniform(0.7, 1.3)
        long = rng.uniform(5, 14) * unit_px
        base = limb[index, :2]
        width = max(style.thinnest, 0.5 * float(limb[index, 2]) / unit_px) * unit_px
        knots = [(base[0], base[1], width)]
        for share, swell in ((0.5, 0.85), (0.85, 1.35), (1.0, 0.7)):
            x, y = base + share * long * np.array([np.cos(turn), np.sin(turn)])
            knots.append((x, y, width * swell))
        paths.append(np.array(knots))
