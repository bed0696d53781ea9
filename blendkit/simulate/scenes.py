"""Scenes by name, for tests and demonstrations; each takes a seed and the frame's size.

Sizes scale with the frame's short side, unless unit_px is given: then a small frame is a cut-out
of a large scene (unit_px = 1 draws what a 1200 x 800 frame would show, whatever the size).
"""

from collections.abc import Callable
from typing import Protocol

import numpy as np

from blendkit.simulate.drawing import backgrounds
from blendkit.simulate.drawing.boughs import ForkStyle, grow_bough
from blendkit.simulate.drawing.bramble import shoots
from blendkit.simulate.drawing.canvas import Canvas, blank, unit_for
from blendkit.simulate.drawing.composition import kept_clear
from blendkit.simulate.drawing.foliage import AUTUMN, GREENS, leaf_spots, paint_leaves
from blendkit.simulate.drawing.sitter import cellist
from blendkit.simulate.drawing.strands import Path, bark, paint_strands
from blendkit.simulate.drawing.tangles import RoomStyle, grow_into
from blendkit.simulate.scene import Scene

Size = tuple[int, int]
BACKGROUND_M, SITTER_M, FOREGROUND_M = 40.0, 6.0, 2.5


class SceneMaker(Protocol):
    """Makes a scene from a seed."""

    def __call__(
        self,
        seed: int = 0,
        size: Size = (1200, 800),
        *,
        unit_px: float | None = None,
        sitter: bool = True,
    ) -> Scene:
        """Return the scene; the same seed and size give the same scene."""


def thin_boughs_over_woods(
    seed: int = 0, size: Size = (1200, 800), *, unit_px: float | None = None, sitter: bool = True
) -> Scene:
    """Return thin forked boughs that hang in from one side over woods."""
    set_up = _SetUp(seed, size, unit_px)
    front = set_up.blank()
    style = ForkStyle(width=15.0, length=900, spacing=58, wander=0.3, spread=0.75)
    set_up.paint(front, set_up.clear(set_up.hanging(style, count=4), sitter))
    return set_up.scene(
        "thin_boughs_over_woods", backgrounds.woods, [(front, FOREGROUND_M)], sitter
    )


def twigs_against_sky(
    seed: int = 0, size: Size = (1200, 800), *, unit_px: float | None = None, sitter: bool = True
) -> Scene:
    """Return a bare crown of fine twigs against the evening sky, grown into free room."""
    set_up = _SetUp(seed, size, unit_px)
    front = set_up.blank()
    style = RoomStyle(widest=16, tip=1.25, clear=15, reach=90, step=7)
    paths = [*set_up.crown(style, count=900), *set_up.crown(style, count=350)]
    set_up.paint(front, set_up.clear(paths, sitter))
    return set_up.scene("twigs_against_sky", backgrounds.sky_only, [(front, FOREGROUND_M)], sitter)


def thick_boughs(
    seed: int = 0, size: Size = (1200, 800), *, unit_px: float | None = None, sitter: bool = True
) -> Scene:
    """Return limbs of 30 to 60 px with few branches before a hedge, wider than small discs."""
    set_up = _SetUp(seed, size, unit_px)
    front = set_up.blank()
    style = ForkStyle(
        width=58.0, thinnest=2.0, length=1150, levels=3, wander=0.22, spacing=120, spread=0.7
    )
    set_up.paint(front, set_up.clear(set_up.hanging(style, count=2), sitter), roughness=0.5)
    return set_up.scene(
        "thick_boughs", backgrounds.hedge_with_gaps, [(front, FOREGROUND_M)], sitter
    )


def twigs_from_below_over_hills(
    seed: int = 0, size: Size = (1200, 800), *, unit_px: float | None = None, sitter: bool = True
) -> Scene:
    """Return slender shoots that rise from below the frame in front of hills."""
    set_up = _SetUp(seed, size, unit_px)
    front = set_up.blank()
    paths: list[Path] = []
    for _ in range(3):
        x = set_up.rng.choice([set_up.rng.uniform(-0.05, 0.28), set_up.rng.uniform(0.72, 1.05)])
        paths += shoots(
            set_up.point(x, 1.12),
            -np.pi / 2,
            count=9,
            length=560,
            width=6.5,
            unit_px=set_up.unit,
            rng=set_up.rng,
            fan=0.24,
            spread_px=60 * set_up.unit,
            sag=0.22,
        )
    set_up.paint(front, set_up.clear(paths, sitter))
    return set_up.scene(
        "twigs_from_below_over_hills", backgrounds.hills, [(front, FOREGROUND_M)], sitter
    )


def boughs_at_two_depths(
    seed: int = 0, size: Size = (1200, 800), *, unit_px: float | None = None, sitter: bool = True
) -> Scene:
    """Return boughs of two trees, at 2.2 and 3.4 m: two discs in one frame."""
    set_up = _SetUp(seed, size, unit_px)
    near, far = set_up.blank(), set_up.blank()
    style = ForkStyle(width=20.0, length=850, spacing=75)
    set_up.paint(near, set_up.clear(set_up.hanging(style, count=2), sitter))
    paths = set_up.crown(RoomStyle(widest=12, clear=17), count=600)
    set_up.paint(far, set_up.clear(paths, sitter))
    return set_up.scene(
        "boughs_at_two_depths", backgrounds.poplars, [(far, 3.4), (near, 2.2)], sitter
    )


def leaves(
    seed: int = 0, size: Size = (1200, 800), *, unit_px: float | None = None, sitter: bool = True
) -> Scene:
    """Return leafy twigs, green or turning, before poplars."""
    set_up = _SetUp(seed, size, unit_px)
    front = set_up.blank()
    style = ForkStyle(width=11.0, length=700, spacing=70, spurs=0)
    paths = set_up.clear(set_up.hanging(style, count=3), sitter)
    set_up.paint(front, paths)
    unit, rng = set_up.unit, set_up.rng
    spots = leaf_spots(paths, every_px=26 * unit, thinner_than_px=6 * unit, rng=rng)
    tints = GREENS if rng.uniform() < 0.5 else AUTUMN
    paint_leaves(front, spots, length_px=30 * unit, tints=tints, rng=rng)
    return set_up.scene("leaves", backgrounds.poplars, [(front, FOREGROUND_M)], sitter)


def bright_points_behind_twigs(
    seed: int = 0, size: Size = (1200, 800), *, unit_px: float | None = None, sitter: bool = True
) -> Scene:
    """Return twigs before lamps and glints many times brighter than white."""
    set_up = _SetUp(seed, size, unit_px)
    front = set_up.blank()
    style = ForkStyle(width=14.0, length=900, spacing=60)
    set_up.paint(front, set_up.clear(set_up.hanging(style, count=3), sitter))

    def lamps(size: Size, unit: float, rng: np.random.Generator) -> Canvas:
        return backgrounds.with_bright_points(backgrounds.woods(size, unit, rng), rng)

    return set_up.scene("bright_points_behind_twigs", lamps, [(front, FOREGROUND_M)], sitter)


def sitter_beside_twigs(
    seed: int = 0, size: Size = (1200, 800), *, unit_px: float | None = None, sitter: bool = True
) -> Scene:
    """Return twigs that cross the sitter's hair and hands."""
    set_up = _SetUp(seed, size, unit_px)
    front = set_up.blank()
    side = set_up.rng.choice([-1.0, 1.0])
    start = set_up.point(0.5 + 0.62 * side, set_up.rng.uniform(0.1, 0.4))
    heading = (np.pi if side > 0 else 0.0) + side * set_up.rng.uniform(-0.25, 0.1)
    style = ForkStyle(width=11.0, length=760, spacing=52)
    set_up.paint(front, grow_bough(start, heading, style, unit_px=set_up.unit, rng=set_up.rng))
    return set_up.scene("sitter_beside_twigs", backgrounds.poplars, [(front, FOREGROUND_M)], sitter)


def bramble_over_picture(
    seed: int = 0, size: Size = (1200, 800), *, unit_px: float | None = None, sitter: bool = True
) -> Scene:
    """Return a tangle of shoots over one of scikit-image's pictures."""
    set_up = _SetUp(seed, size, unit_px)
    front = set_up.blank()
    paths: list[Path] = []
    for _ in range(4):
        x, y, heading = set_up.entry()
        paths += shoots(
            (x, y),
            heading,
            count=5,
            length=650,
            width=7,
            unit_px=set_up.unit,
            rng=set_up.rng,
            fan=0.4,
            spread_px=90 * set_up.unit,
        )
    set_up.paint(front, set_up.clear(paths, sitter))
    name = str(set_up.rng.choice(["chelsea", "coffee", "brick", "grass", "gravel"]))

    def real(size: Size, unit: float, rng: np.random.Generator) -> Canvas:
        return backgrounds.picture(name, size, unit, rng)

    return set_up.scene("bramble_over_picture", real, [(front, FOREGROUND_M)], sitter)


SCENES: dict[str, SceneMaker] = {
    maker.__name__: maker
    for maker in (
        thin_boughs_over_woods,
        twigs_against_sky,
        thick_boughs,
        twigs_from_below_over_hills,
        boughs_at_two_depths,
        leaves,
        bright_points_behind_twigs,
        sitter_beside_twigs,
        bramble_over_picture,
    )
}
"""Every scene of boughs before a sitter, by name; the first six are those the figures stand on."""


class _SetUp:
    """What the scene makers share: chance, size, and where boughs enter the frame."""

    def __init__(self, seed: int, size: Size, unit_px: float | None) -> None:
        self.rng = np.random.default_rng(seed)
        self.size = size
        self.unit = unit_px or unit_for(size)
        self.margin = self.blank().margin_px
        self.centre = float(self.rng.uniform(0.42, 0.58))

    def blank(self) -> Canvas:
        return blank(self.size, self.unit)

    def point(self, x: float, y: float) -> tuple[float, float]:
        """Return canvas px of a place given as shares of the frame."""
        return self.margin + x * self.size[0], self.margin + y * self.size[1]

    def entry(self) -> tuple[float, float, float]:
        """Return a place outside the frame and a heading into it, mostly from sides and top."""
        rng = self.rng
        side = rng.choice(["left", "right", "top"], p=[0.38, 0.38, 0.24])
        if side == "top":
            x = rng.choice([rng.uniform(0.0, 0.3), rng.uniform(0.7, 1.0)])
            return (*self.point(x, -0.1), np.pi / 2 + rng.normal(0, 0.4))
        y = rng.uniform(-0.02, 0.6)
        tilt = rng.normal(0.1, 0.3)
        if side == "left":
            return (*self.point(-0.07, y), tilt)
        return (*self.point(1.07, y), np.pi - tilt)

    def hanging(self, style: ForkStyle, *, count: int) -> list[Path]:
        """Return several boughs that reach in from outside."""
        paths: list[Path] = []
        for _ in range(count):
            x, y, heading = self.entry()
            paths += grow_bough((x, y), heading, style, unit_px=self.unit, rng=self.rng)
        return paths

    def crown(self, style: RoomStyle, *, count: int) -> list[Path]:
        """Return boughs that grow from beside the frame into an uneven cloud on that side."""
        right = bool(self.rng.uniform() < 0.5)
        cloud = self.rng.uniform(-1, 1, (3 * count, 2))
        cloud = cloud[np.hypot(*cloud.T) < 1][:count]
        aside, down = self.rng.uniform(0.12, 0.26), self.rng.uniform(0.15, 0.4)
        share = np.array([aside, down]) + cloud * np.array([0.40, 0.46])
        root = (-0.14, self.rng.uniform(0.1, 0.7))
        if right:
            share[:, 0] = 1 - share[:, 0]
            root = (1.14, root[1])
        room = self.margin + share * np.array(self.size)
        return grow_into(room, self.point(*root), style, unit_px=self.unit, rng=self.rng)

    def clear(self, paths: list[Path], sitter: bool) -> list[Path]:
        """Return boughs that keep off the sitter's head and shoulders."""
        if not sitter:
            return paths
        height = min(self.size[1], 1.4 * self.size[0])
        middle = self.point(self.centre, 0.24)
        room = (middle[0], middle[1] + 0.12 * height, 0.30 * height, 0.42 * height)
        return kept_clear(paths, room, unit_px=self.unit)

    def paint(self, canvas: Canvas, paths: list[Path], *, roughness: float = 0.35) -> None:
        """Paint boughs with bark of their own tone."""
        tone = self.rng.uniform(0.7, 1.5)
        warm = self.rng.uniform(0.85, 1.1)
        lit = (0.17 * tone, 0.135 * tone * warm, 0.10 * tone * warm**2)
        paint_strands(canvas, paths, bark(self.rng, lit=lit, roughness=roughness))

    def scene(
        self,
        name: str,
        background: Callable[[Size, float, np.random.Generator], Canvas],
        fronts: list[tuple[Canvas, float]],
        sitter: bool,
    ) -> Scene:
        back = background(self.size, self.unit, self.rng)
        layers = [back.layer(BACKGROUND_M, "background", "background")]
        if sitter:
            figure = cellist(self.size, self.unit, self.rng, centre=self.centre)
            layers.append(figure.layer(SITTER_M, "sitter", "sitter"))
        for index, (canvas, distance) in enumerate(fronts):
            layers.append(canvas.layer(distance, "foreground", f"boughs-{index + 1}"))
        return Scene(tuple(layers), self.size, self.margin, name)
