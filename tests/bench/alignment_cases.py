"""The pairs of the alignment study: a plain pair, and one thing varied at a time.

All lengths are px of a 1200 px wide frame; smaller frames scale them, so that a case keeps its
look at every size.
"""

from collections.abc import Iterator
from dataclasses import dataclass, field, replace

import numpy as np

SCENE_NAMES = (
    "thin_boughs_over_woods",
    "twigs_against_sky",
    "thick_boughs",
    "twigs_from_below_over_hills",
    "boughs_at_two_depths",
    "leaves",
)
SMALL = (600, 400)
LARGE = (1200, 800)


@dataclass(frozen=True)
class Case:
    """One pair of the study.

    group: what is varied; value: to what. solvable: whether a photographer would expect a fit.
    disc_px: disc of the foreground; the background's is 0.55 of it; both in the background frame.
    in_focus: share of the frame that the sitter fills, about; None = the scene's own figure,
        0 = nobody, and then nothing is in focus in both frames.
    far_kept: share of the background's disc that it keeps in the foreground frame, focused on the
        boughs; None = stopped down with the focus where it was, a fifth or less.
    """

    group: str
    value: float
    scene: str
    seed: int
    size: tuple[int, int] = SMALL
    disc_px: float = 70.0
    in_focus: float | None = None
    shift_px: tuple[float, float] = (9.0, -5.0)
    rotation_deg: float = 0.4
    scale: float = 1.008
    gain_ev: float = 0.4
    falloff_ev: float = 1.2
    iso: float = 800.0
    wind_px: float = 0.0
    sway_px: float = 0.0
    parallax_px: float = 0.0
    shake_px: float = 0.0
    far_kept: float | None = None
    solvable: bool = field(default=True)


def cases() -> Iterator[Case]:
    """Yield every case; the same list every time."""
    for group, values, changes in _SWEEPS:
        for index, value in enumerate(values):
            for repeat in range(_REPEATS[group]):
                name = SCENE_NAMES[(index + repeat * 2) % len(SCENE_NAMES)]
                plain = Case(group, float(value), name, seed=repeat)
                yield replace(plain, **changes(value, repeat))
    yield from _everything_at_once(60)


def held_out(count: int, seed: int) -> Iterator[Case]:
    """Yield pairs of scenes and settings that `cases` does not hold, two kinds in turn.

    The second kind is where two zones can be mistaken for each other: a background that is hardly
    blurred and moves against the sitter by parallax or by her sway.
    """
    yield from _everything_at_once(count - count // 2, seed=seed, scenes_from=100 + 10 * seed)
    rng = np.random.default_rng(seed + 500)
    for case in _everything_at_once(count // 2, seed=seed + 1000, scenes_from=105 + 10 * seed):
        yield replace(
            case,
            group="hardly blurred, moved",
            disc_px=float(rng.uniform(6, 40)),
            parallax_px=float(rng.uniform(1, 8) * rng.choice([-1, 1])),
            sway_px=float(rng.uniform(0, 1.5)),
        )


def nobody(count: int) -> Iterator[Case]:
    """Yield pairs of new scenes in which nobody stands: only a blurred background can lead.

    Every one twice: with one focus, and with the foreground frame focused on the boughs.
    """
    for case in _everything_at_once(count, seed=77, scenes_from=300):
        alone = replace(case, group="nobody", disc_px=0.6 * case.disc_px + 30, in_focus=0.0)
        yield alone
        yield replace(alone, group="nobody, refocused", far_kept=0.5)


def _everything_at_once(count: int, *, seed: int = 2024, scenes_from: int = 0) -> Iterator[Case]:
    """Yield pairs with every setting drawn at random, as a shoot brings them."""
    rng = np.random.default_rng(seed)
    for index in range(count):
        yield Case(
            "everything at once",
            float(index),
            SCENE_NAMES[index % len(SCENE_NAMES)],
            seed=scenes_from + index % 3,
            disc_px=float(rng.uniform(10, 150)),
            shift_px=(float(rng.uniform(-30, 30)), float(rng.uniform(-30, 30))),
            rotation_deg=float(rng.uniform(-1.5, 1.5)),
            scale=float(rng.uniform(0.96, 1.04)),
            gain_ev=float(rng.uniform(-1.5, 1.5)),
            falloff_ev=float(rng.uniform(0, 2.2)),
            iso=float(2 ** rng.uniform(0, 5) * 100),
            wind_px=float(rng.uniform(0, 20)),
            parallax_px=float(rng.uniform(0, 6)),
            shake_px=float(rng.uniform(0, 3)),
        )


def _portrait(value: float, _: int) -> dict[str, object]:
    return {"size": (400, 600) if value else (600, 400)}


_SWEEPS = (
    ("disc", (0, 5, 10, 20, 40, 80, 120, 160, 200), lambda v, _: {"disc_px": v, "size": LARGE}),
    (
        "share in focus",
        (0.02, 0.05, 0.10, 0.20, 0.40, 0.60),
        lambda v, _: {"in_focus": v, "disc_px": 120.0, "size": LARGE},
    ),
    ("shift", (0.0, 0.01, 0.02, 0.03), lambda v, _: {"shift_px": (1200 * v, -600 * v)}),
    ("rotation", (-2.0, -1.0, -0.3, 0.0, 1.0, 2.0), lambda v, _: {"rotation_deg": v}),
    ("scale", (0.95, 0.98, 1.0, 1.02, 1.05), lambda v, _: {"scale": v}),
    ("gain", (-2.0, -1.0, 0.0, 1.0, 2.0), lambda v, _: {"gain_ev": v}),
    ("fall-off", (0.0, 0.8, 1.6, 2.5), lambda v, _: {"falloff_ev": v}),
    ("ISO", (100.0, 400.0, 1600.0, 6400.0), lambda v, _: {"iso": v}),
    ("wind", (0.0, 5.0, 15.0, 30.0), lambda v, _: {"wind_px": v}),
    ("sway", (0.0, 0.5, 1.5, 3.0), lambda v, _: {"sway_px": v, "size": LARGE}),
    ("parallax", (0.0, 2.0, 5.0, 10.0), lambda v, _: {"parallax_px": v}),
    ("shake", (0.0, 2.0, 4.0, 8.0), lambda v, _: {"shake_px": v}),
    ("portrait", (0.0, 1.0), _portrait),
    ("width", (640, 900, 1800), lambda v, _: {"size": (v, v * 3 // 4 if v == 640 else v * 2 // 3)}),
)
_REPEATS = {
    "disc": 5,
    "share in focus": 5,
    "shift": 4,
    "rotation": 4,
    "scale": 5,
    "gain": 4,
    "fall-off": 4,
    "ISO": 5,
    "wind": 5,
    "sway": 5,
    "parallax": 5,
    "shake": 5,
    "portrait": 5,
    "width": 3,
}
