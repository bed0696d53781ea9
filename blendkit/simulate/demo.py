"""The demonstration: a cellist at an orchard gate, apple boughs before her, poplars beyond."""

import numpy as np

from blendkit.simulate.drawing.backdrop import DUSK, open_sky
from blendkit.simulate.drawing.boughs import ForkStyle, grow_bough
from blendkit.simulate.drawing.canvas import Canvas, blank, unit_for
from blendkit.simulate.drawing.composition import kept_clear
from blendkit.simulate.drawing.gate import draw_gate
from blendkit.simulate.drawing.land import meadow, ridge, wood_line
from blendkit.simulate.drawing.sitter import cellist
from blendkit.simulate.drawing.strands import Path, bark, paint_strands
from blendkit.simulate.drawing.trees import poplar
from blendkit.simulate.scene import Scene
from blendkit.simulate.spec import PairSpec

Size = tuple[int, int]
POPLARS_M, GATE_M, CELLIST_M, BOUGHS_M = 60.0, 9.0, 6.0, 2.3


def demo_scene(size: Size = (1500, 1000), seed: int = 0) -> Scene:
    """Return the orchard gate at dusk: poplars, gate, cellist, bare apple boughs.

    Portraits as well as landscapes; all sizes follow the short side.
    """
    rng = np.random.default_rng(seed)
    unit = unit_for(size)
    beyond = _poplars(size, unit, rng)
    layers = [
        beyond.layer(POPLARS_M, "background", "poplars"),
        _gate(size, unit, rng).layer(GATE_M, "background", "gate"),
        cellist(size, unit, rng, centre=0.53, top=0.25, height=0.78).layer(
            CELLIST_M, "sitter", "cellist"
        ),
        _boughs(size, unit, rng).layer(BOUGHS_M, "foreground", "apple boughs"),
    ]
    return Scene(tuple(layers), size, beyond.margin_px, "orchard-gate")


def demo_spec(size: Size = (1500, 1000), seed: int = 0) -> PairSpec:
    """Return how the demonstration's pair was taken: by hand, at f/2.8 and f/16.

    The foreground frame shows a little more at every side, so that no bough ends at its rim.
    """
    unit = unit_for(size)
    return PairSpec(
        f_number=(2.8, 16.0),
        foreground_disc_px=(70 * unit, 1.5 * unit),
        background_disc_px=(34 * unit, 6 * unit),
        shift_px=(7.3 * unit, -4.6 * unit),
        rotation_deg=0.22,
        scale=0.982,
        parallax_px=(4.0 * unit, 1.5 * unit),
        gain=1.12,
        falloff_ev=(1.1, 0.15),
        iso=(100.0, 800.0),
        exposure_time_s=(1 / 320, 1 / 80),
        seed=seed,
    )


def _poplars(size: Size, unit: float, rng: np.random.Generator) -> Canvas:
    sky = open_sky(size, unit, rng, stops=DUSK, clouds=0.7)
    ridge(sky, 0.585, 12, (160, 142, 140))
    wood_line(sky, 0.615, 18, (126, 112, 104))
    x = -60.0 * unit
    while x < sky.size[0] + 60 * unit:
        height = unit * rng.uniform(360, 520)
        foot = (x, sky.row(0.675) + rng.normal(0, 4) * unit)
        poplar(sky, foot, height, (112, 104, 54), leaf_px=6 * unit)
        x += unit * rng.choice([rng.uniform(44, 70), rng.uniform(90, 220)], p=[0.72, 0.28])
    meadow(sky, 0.665, (156, 138, 84), (92, 94, 50))
    return sky.finished()


def _gate(size: Size, unit: float, rng: np.random.Generator) -> Canvas:
    canvas = blank(size, unit)
    draw_gate(canvas, rng)
    return canvas


def _boughs(size: Size, unit: float, rng: np.random.Generator) -> Canvas:
    """Return apple boughs that frame the cellist: from both upper corners, a few twigs below."""
    canvas = blank(size, unit)
    margin = canvas.margin_px
    limb = ForkStyle(width=24.0, thinnest=1.4, length=820, spacing=54, wander=0.34, lift=0.25)
    light = ForkStyle(width=12.0, thinnest=1.3, length=560, spacing=50, wander=0.32)
    entries = (
        (-0.06, 0.10, 0.18, limb),
        (-0.06, 0.34, 0.32, light),
        (1.06, 0.02, np.pi - 0.35, limb),
        (1.06, 0.30, np.pi - 0.10, light),
        (0.22, -0.09, 1.15, light),
        (-0.05, 0.78, -0.45, light),
        (1.05, 0.86, np.pi + 0.5, light),
    )
    paths: list[Path] = []
    for x, y, heading, style in entries:
        start = (margin + x * size[0], margin + y * size[1])
        paths += grow_bough(start, heading, style, unit_px=unit, rng=rng)
    height = min(size[1], 1.2 * size[0])
    room = (margin + 0.53 * size[0], margin + 0.38 * size[1], 0.38 * height, 0.52 * height)
    surface = bark(
        rng, shade=(0.02, 0.016, 0.016), lit=(0.20, 0.145, 0.10), light=(-0.6, -0.3, 0.74)
    )
    paint_strands(canvas, kept_clear(paths, room, unit_px=unit), surface)
    return canvas
