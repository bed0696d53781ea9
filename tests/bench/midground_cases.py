"""Forty-five scenes for the mid-ground, with their truth: thirty soft, fifteen with nothing wrong.

Even numbers are for tuning, odd ones for judging.  `python midground_cases.py FOLDER` renders and
keeps them; figures are read by midground_figures.py.
"""

import pickle
import sys
from dataclasses import dataclass, field
from pathlib import Path

import cv2
import numpy as np

sys.path.insert(0, str(Path(__file__).parents[1] / "midground"))

from warped_ground import (
    SURFACES,
    CutOut,
    Lens,
    View,
    boughs,
    mound,
    photograph,
    receding,
    standing,
    wall,
    with_noise,
)

from blendkit.frame import Bool, Capture, Float, Frame

SIZE = (900, 600)
SOFT_PX_AT_1200 = 3.0


@dataclass(frozen=True, eq=False)
class Case:
    """One pair as frames, its matte, and the discs of the surface in both frames (signed, px)."""

    number: int
    kind: str
    wrong: bool
    background: Frame
    foreground: Frame
    bridge: Frame
    matte: Float
    disc_b: Float
    disc_f: Float
    sharp: Float = field(repr=False)
    truth: Float = field(repr=False)

    @property
    def soft_in_both(self) -> Bool:
        """Ground between the focus distances on which both discs exceed the bar."""
        least = SOFT_PX_AT_1200 * max(self.matte.shape) / 1200
        between = (self.disc_b > 0) & (self.disc_f < 0)
        return between & (np.minimum(np.abs(self.disc_b), np.abs(self.disc_f)) > least)


@dataclass(frozen=True)
class _Draw:
    """Which case, how large, and what all that is random in it hangs on."""

    number: int
    size: tuple[int, int]
    seed: int
    rng: np.random.Generator


def make_case(number: int, size: tuple[int, int] = SIZE, *, seed: int = 0) -> Case:
    """Return case 0 to 44; another seed gives other scenes, distances, lenses and grain."""
    drawn = number + 100 * seed
    draw = _Draw(number, size, drawn, np.random.default_rng(7000 + drawn))
    if number < 24:
        return _gap(draw)
    if number < 30:
        return _pasted(draw)
    return _fine(draw)


def _gap(draw: _Draw) -> Case:
    """Return a focus pair whose sharp intervals leave a gap on receding ground."""
    number, size, seed, rng = draw.number, draw.size, draw.seed, draw.rng
    surface = SURFACES[number // 2 % len(SURFACES)]
    tilt = float(rng.choice([0.0, rng.uniform(-0.25, 0.25)]))
    view = receding(size, seed, surface=surface, horizon=rng.uniform(0.25, 0.42), tilt=tilt)
    near, far = rng.uniform(3.7, 4.6), rng.uniform(8, 16)
    focal = float(rng.choice([85, 105, 135, 200]))
    peak_px = rng.uniform(4.5, 15) * size[0] / 1200
    unit = Lens(focal, 1.0, far, size[0]).disc_px(near)
    stop = float(np.clip(unit / (2 * peak_px), 1.4, 22))
    lenses = Lens(focal, stop, far, size[0]), Lens(focal, stop, near, size[0])
    if rng.uniform() < 0.4:
        foot = 0.4 + 0.6 * 3.4 / (far * 0.9)
        view = View(
            view.color,
            view.distance_m,
            (standing(size, seed, centre=0.5, foot=foot, distance_m=far),),
        )
    return _shot(draw, "gap", view, lenses, wrong=True)


def _pasted(draw: _Draw) -> Case:
    """Return an aperture pair: near ground pasted from the stopped frame, soft ground behind it."""
    number, size, seed, rng = draw.number, draw.size, draw.seed, draw.rng
    view = receding(size, seed, surface=SURFACES[number % len(SURFACES)], horizon=0.3)
    focus = rng.uniform(9, 14)
    wide = float(rng.choice([2.8, 4.0]))
    lenses = Lens(105, wide, focus, size[0]), Lens(105, 22.0, focus, size[0])
    return _shot(draw, "pasted", view, lenses, wrong=True, seam=0.75)


def _fine(draw: _Draw) -> Case:
    number, size, seed, rng = draw.number, draw.size, draw.seed, draw.rng
    kind = ("overlap", "wall", "boughs", "mound", "plain")[number % 5]
    surface = SURFACES[number // 5 % len(SURFACES)]
    if kind == "overlap":
        view = receding(size, seed, surface=surface)
        near, far = rng.uniform(3.8, 4.4), rng.uniform(7, 10)
        stop = float(Lens(85, 1.0, far, size[0]).disc_px(near)) / (2 * 0.9 * size[0] / 1200)
        lenses = Lens(85, stop, far, size[0]), Lens(85, stop, near, size[0])
        return _shot(draw, kind, view, lenses, wrong=False)
    if kind == "wall":
        view = wall(size, seed, rng.uniform(5, 7), surface=surface)
        lenses = Lens(135, 4.0, rng.uniform(8, 12), size[0]), Lens(135, 4.0, 4.0, size[0])
        return _shot(draw, kind, view, lenses, wrong=False, seam=0.0)
    if kind == "mound":
        view = mound(size, seed, surface=surface)
        lenses = Lens(135, 4.0, 5.0, size[0]), Lens(135, 16.0, 5.0, size[0])
        return _shot(draw, kind, view, lenses, wrong=False, seam=0.0)
    view = receding(size, seed, surface=surface, horizon=0.35)
    cuts: tuple[CutOut, ...] = (
        standing(size, seed, centre=rng.uniform(0.4, 0.6), foot=1.2, distance_m=6.0),
    )
    if kind == "boughs":
        cuts = (*cuts, boughs(size, seed, distance_m=2.6))
    view = View(view.color, np.maximum(view.distance_m, 12.0), cuts)
    lenses = (
        Lens(135, 2.8, 6.0, size[0]),
        # Focused between boughs and sitter, f/16 leaves the boughs soft: that is no sound scene.
        Lens(135, 16.0, 2.6 if kind == "boughs" else 6.0, size[0]),
    )
    return _shot(draw, kind, view, lenses, wrong=False, seam=0.0)


def _shot(
    draw: _Draw,
    kind: str,
    view: View,
    lenses: tuple[Lens, Lens],
    *,
    wrong: bool,
    seam: float | None = None,
) -> Case:
    number, seed = draw.number, draw.seed
    discs = [lens.disc_px(view.distance_m) for lens in lenses]
    matte = _matte(discs, seam)
    if kind == "boughs":
        matte = view.cut_outs[-1].coverage
    light = [photograph(view, lens, seed=seed) for lens in lenses]
    middle = 2 / (1 / lenses[0].focus_distance_m + 1 / lenses[1].focus_distance_m)
    small = Lens(lenses[0].focal_length_mm, 16.0, middle, lenses[0].width_px)
    truth = photograph(view, small, seed=seed)
    isos = 100, float(draw.rng.choice([100, 400, 800]))
    frames = [
        Frame(with_noise(shot, iso, seed=seed + k), _capture(lens, iso), f"case-{number}-{'bf'[k]}")
        for k, (shot, lens, iso) in enumerate(zip(light, lenses, isos, strict=True))
    ]
    bridge = Frame(
        with_noise(truth, 800, seed=seed + 9), _capture(small, 800), f"case-{number}-bridge"
    )
    sharp = photograph(view, Lens(50, 5000, middle, lenses[0].width_px))
    return Case(number, kind, wrong, *frames, bridge, matte, *discs, sharp, truth)


def _matte(discs: list[Float], seam: float | None) -> Float:
    """Return ground where the foreground frame is the sharper one, or what lies below seam."""
    if seam is None:
        cover = np.abs(discs[1]) < np.abs(discs[0])
    else:
        cover = np.zeros(discs[0].shape, np.bool_)
        if seam > 0:
            cover[int(seam * cover.shape[0]) :] = True
    return cv2.GaussianBlur(cover.astype(np.float32), (0, 0), 0.5)


def _capture(lens: Lens, iso: float) -> Capture:
    """Return what most cameras record: no focus distance."""
    return Capture(f_number=round(lens.f_number, 2), iso=iso, focal_length_mm=lens.focal_length_mm)


def kept_case(number: int, folder: Path, size: tuple[int, int] = SIZE, *, seed: int = 0) -> Case:
    """Return a case from its file, or render and keep it."""
    drawn = f"-seed-{seed}" if seed else ""
    file = folder / f"case-{number}-{size[0]}{drawn}.pkl"
    if file.exists():
        return pickle.loads(file.read_bytes())  # type: ignore[no-any-return]  # noqa: S301 - own file
    case = make_case(number, size, seed=seed)
    folder.mkdir(parents=True, exist_ok=True)
    file.write_bytes(pickle.dumps(case))
    return case


if __name__ == "__main__":
    cv2.setNumThreads(1)
    for wanted in range(45):
        print(wanted, kept_case(wanted, Path(sys.argv[1])).kind, flush=True)
