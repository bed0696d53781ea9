"""Makes the pairs of the alignment study, with the true motion of every zone."""

import hashlib
from dataclasses import dataclass, replace
from functools import lru_cache
from pathlib import Path

import numpy as np
from alignment_cases import Case

from blendkit.frame import Frame, Matrix
from blendkit.simulate import SCENES, PairSpec, Scene, render
from blendkit.simulate.camera import translation
from blendkit.simulate.drawing.canvas import unit_for
from blendkit.simulate.drawing.sitter import cellist
from blendkit.simulate.pair import warp_between
from blendkit.simulate.scenes import SITTER_M
from blendkit.simulate.sensor import exposed

_FIGURE_SHARE = 0.30
"""Share of a 3:2 frame that a figure one frame high would fill, about."""


@dataclass(frozen=True, eq=False)
class StudyPair:
    """Two frames and the truth.

    zone: background px to foreground px for the zone in focus, sway included.
    behind_px: how the background moves beyond that, (x, y) in background px.
    """

    background: Frame
    foreground: Frame
    zone: Matrix
    behind_px: tuple[float, float]


def pair_of(case: Case, cache: Path | None = None) -> StudyPair:
    """Return a case's pair, from the cache folder where it was made before."""
    if cache is None:
        return _made(case)
    path = cache / f"{hashlib.sha256(repr(case).encode()).hexdigest()[:20]}.npz"
    if not path.exists():
        pair = _made(case)
        b, f = (np.round(x.pixels * 65535).astype(np.uint16) for x in _frames(pair))
        np.savez(path, b=b, f=f, zone=pair.zone, behind=pair.behind_px)
    with np.load(path) as held:
        b, f = (Frame(held[k].astype(np.float32) / 65535) for k in "bf")
        return StudyPair(b, f, held["zone"], tuple(held["behind"]))


def _frames(pair: StudyPair) -> tuple[Frame, Frame]:
    return pair.background, pair.foreground


def _made(case: Case) -> StudyPair:
    scene = _scene(case.scene, case.seed, case.size, case.in_focus)
    spec = _spec(case)
    wide, narrow = spec.cameras(scene)
    moves = spec.movements(scene)
    light = render(scene, wide, seed=case.seed)
    sharp = render(scene, narrow, moves=moves, seed=case.seed + 1)
    sway = moves[scene.anchor.name]
    anchor = narrow.parallax_px(scene.anchor.distance_m)
    behind = np.subtract(np.subtract(narrow.parallax_px(scene.layers[0].distance_m), anchor), sway)
    return StudyPair(
        Frame(exposed(light, wide, tone_curve=False, seed=case.seed + 2)),
        Frame(exposed(sharp, narrow, tone_curve=False, seed=case.seed + 3)),
        np.asarray(warp_between(scene, narrow) @ translation(*sway)),
        (float(behind[0]), float(behind[1])),
    )


def _spec(case: Case) -> PairSpec:
    unit = max(case.size) / 1200
    disc = case.disc_px * unit
    far = 0.55 * disc
    far_there = min(0.1 * disc, 6 * unit) if case.far_kept is None else case.far_kept * far
    return PairSpec(
        foreground_disc_px=(disc, min(disc, 3 * unit)),
        background_disc_px=(far, far_there),
        shift_px=(case.shift_px[0] * unit, case.shift_px[1] * unit),
        rotation_deg=case.rotation_deg,
        scale=case.scale,
        gain=2.0**case.gain_ev,
        falloff_ev=(case.falloff_ev, 0.1),
        iso=(100.0, case.iso),
        wind_px=(case.wind_px * unit, 0.4 * case.wind_px * unit),
        sway_px=(case.sway_px * unit, -0.3 * case.sway_px * unit),
        parallax_px=(case.parallax_px * unit, 0.3 * case.parallax_px * unit),
        shake_px=(0.0, case.shake_px * unit),
        seed=case.seed,
    )


@lru_cache(maxsize=6)
def _scene(name: str, seed: int, size: tuple[int, int], in_focus: float | None) -> Scene:
    scene = SCENES[name](seed, size)
    if in_focus is None:
        return scene
    if in_focus == 0:
        return replace(scene, layers=tuple(la for la in scene.layers if la.role != "sitter"))
    height = float(np.sqrt(in_focus / _FIGURE_SHARE))
    rng = np.random.default_rng(seed)
    top = max(0.5 - height / 2, 0.04)
    figure = cellist(size, unit_for(size), rng, top=top, height=height)
    sitter = figure.layer(SITTER_M, "sitter", "sitter")
    layers = tuple(sitter if layer.role == "sitter" else layer for layer in scene.layers)
    return replace(scene, layers=layers)
