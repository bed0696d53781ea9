"""Invented shoots: small frames with real Exif, and which of them belong together.

A *set-up* is one scene of the simulator seen from one place.  An *episode* is what a photographer
does there: a pair, poses with one to three stopped frames, a bracket, a burst, a single.  A shoot
strings episodes together on one or two cameras and then spoils the records: clock steps, missing
tags, interleaved cameras.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime, timedelta
from pathlib import Path

import numpy as np

from blendkit.files import write_picture
from blendkit.frame import Capture, Float, Frame
from blendkit.simulate import SCENES, Camera, Scene, render
from blendkit.simulate.sensor import exposed

SIZE = (240, 160)
START = datetime(2025, 10, 3, 17, 20, 0)  # noqa: DTZ001 - cameras rarely record an offset
WIDE, STOPPED, FAR_M, NEAR_M = 2.8, 16.0, 6.0, 2.5
_KINDS = tuple(name for name in SCENES if name != "bramble_over_picture")


@dataclass(frozen=True)
class Take:
    """One exposure of a set-up, before anything is recorded.

    role: "background", "foreground", "bridge", "clear" or "single".
    """

    role: str
    f_number: float = WIDE
    focus_m: float = FAR_M
    pose_px: tuple[float, float] = (0.0, 0.0)
    shake_px: float = 0.0
    cleared: bool = False
    gap_s: float = 8.0


@dataclass
class Expected:
    """What should be found at one set-up: file names by role; poor = shaken foreground frames."""

    backgrounds: list[str] = field(default_factory=list)
    foregrounds: list[str] = field(default_factory=list)
    poor: list[str] = field(default_factory=list)
    bridges: list[str] = field(default_factory=list)
    clears: list[str] = field(default_factory=list)


@dataclass(frozen=True)
class Shoot:
    """A folder of frames and what should be found in it."""

    folder: Path
    expected: tuple[Expected, ...]
    frames: int

    @property
    def pairs(self) -> dict[str, set[str]]:
        """Each background frame's name and the foreground frames that fit it."""
        return {
            name: set(group.foregrounds)
            for group in self.expected
            if group.foregrounds
            for name in group.backgrounds
        }


def scenes(count: int, *, seed: int = 0, size: tuple[int, int] = SIZE) -> list[Scene]:
    """Return scenes that differ in kind or at least in what grows there."""
    return [
        SCENES[_KINDS[k % len(_KINDS)]](seed=seed + k, size=size, sitter=True) for k in range(count)
    ]


def _pose(rng: np.random.Generator) -> tuple[float, float]:
    return float(rng.normal(0, 7)), float(rng.normal(0, 2))


def pair(rng: np.random.Generator) -> list[Take]:
    """Return one pair at two apertures, in either order, at times refocused as well."""
    refocused = rng.random() < 0.3
    takes = [
        Take("background", pose_px=_pose(rng)),
        Take("foreground", STOPPED, 3.4 if refocused else FAR_M),
    ]
    return takes if rng.random() < 0.7 else takes[::-1]


def poses(rng: np.random.Generator) -> list[Take]:
    """Return three to eight poses wide open, and one to three stopped frames of the same set-up."""
    wide = [Take("background", pose_px=_pose(rng)) for _ in range(rng.integers(3, 9))]
    stopped = [Take("foreground", STOPPED) for _ in range(rng.integers(1, 4))]
    if len(stopped) > 1:
        stopped[-1] = replace(stopped[-1], shake_px=7.0)
    at = int(rng.choice([0, len(wide) // 2, len(wide)]))
    return [*wide[:at], *stopped, *wide[at:]]


def focus_pair(rng: np.random.Generator) -> list[Take]:
    """Return one pair at two focus distances."""
    takes = [Take("background", pose_px=_pose(rng)), Take("foreground", WIDE, NEAR_M)]
    return takes if rng.random() < 0.7 else takes[::-1]


def bracket(rng: np.random.Generator) -> list[Take]:
    """Return a bracket of apertures in rising or falling order."""
    rising = [
        Take("background", gap_s=2),
        Take("bridge", 5.6, gap_s=2),
        Take("bridge", 11, gap_s=2),
    ]
    takes = [*rising, Take("foreground", STOPPED, gap_s=2)]
    return takes if rng.random() < 0.6 else takes[::-1]


def focus_bracket(rng: np.random.Generator) -> list[Take]:
    """Return a bracket of focus distances, far to near or back."""
    takes = [
        Take("background", gap_s=2),
        Take("bridge", focus_m=3.8, gap_s=2),
        Take("foreground", focus_m=NEAR_M, gap_s=2),
    ]
    return takes if rng.random() < 0.6 else takes[::-1]


def cleared_pair(rng: np.random.Generator) -> list[Take]:
    """Return a pair and a frame with the boughs held aside."""
    pose = _pose(rng)
    return [
        Take("background", pose_px=pose),
        Take("clear", cleared=True, pose_px=pose),
        Take("foreground", STOPPED),
    ]


def burst(rng: np.random.Generator) -> list[Take]:
    """Return a burst at one aperture and focus: nothing to pair."""
    gaps = 0.2 if rng.random() < 0.7 else 6.0
    f_number = float(rng.choice([WIDE, WIDE, 8.0]))
    return [
        Take("single", f_number, pose_px=_pose(rng), gap_s=gaps) for _ in range(rng.integers(3, 7))
    ]


def single(rng: np.random.Generator) -> list[Take]:
    """Return one frame, wide open or stopped down, that has no partner."""
    return [Take("single", float(rng.choice([WIDE, 4.0, STOPPED])), pose_px=_pose(rng))]


EPISODES: tuple[tuple[Callable[[np.random.Generator], list[Take]], float], ...] = (
    (pair, 0.22),
    (poses, 0.24),
    (focus_pair, 0.1),
    (bracket, 0.08),
    (focus_bracket, 0.06),
    (cleared_pair, 0.06),
    (burst, 0.10),
    (single, 0.14),
)


@dataclass(frozen=True)
class Spoiling:
    """What the records of a shoot lack: see `spoilings`."""

    name: str
    drop: tuple[str, ...] = ()
    clock_step_s: float = 0.0
    cameras: int = 1
    keeps_focus: bool = True


def spoilings() -> tuple[Spoiling, ...]:
    """Return what happens to records: sound ones first, then one trouble each, then several."""
    lens = ("f_number", "focal_length_mm", "lens")
    return (
        Spoiling("sound"),
        Spoiling("no focus distance", keeps_focus=False),
        Spoiling("two cameras", cameras=2, keeps_focus=False),
        Spoiling("clock set back", clock_step_s=-3600.0, keeps_focus=False),
        Spoiling("clock set forward", clock_step_s=7200.0),
        Spoiling("manual lens", drop=lens, keeps_focus=False),
        Spoiling("no time", drop=("captured_at",)),
        Spoiling("two cameras, one set back", cameras=2, clock_step_s=-1800.0),
        Spoiling("no camera name", drop=("camera",), cameras=2, keeps_focus=False),
        Spoiling("manual lens, no time", drop=(*lens, "captured_at"), keeps_focus=False),
    )


def make_shoot(
    folder: Path, stages: Sequence[Scene], spoiling: Spoiling, *, seed: int, episodes: int = 6
) -> Shoot:
    """Write a shoot's frames into a folder and return what should be found."""
    rng = np.random.default_rng(seed)
    folder.mkdir(parents=True, exist_ok=True)
    streams = [_stream(rng, episodes // spoiling.cameras) for _ in range(spoiling.cameras)]
    chosen = list(rng.permutation(len(stages)))
    expected: list[Expected] = []
    frames = 0
    for camera, stream in enumerate(streams):
        step_at = int(rng.integers(1, max(2, len(stream))))
        clock = START + timedelta(seconds=float(rng.uniform(0, 90)))
        number = int(rng.integers(100, 8000))
        for index, takes in enumerate(stream):
            if index == step_at:
                clock += timedelta(seconds=spoiling.clock_step_s)
            clock += timedelta(seconds=float(rng.uniform(40, 400)))
            stage = stages[chosen.pop()]
            group = Expected()
            for take in takes:
                clock += timedelta(seconds=float(take.gap_s * rng.uniform(0.8, 1.5)))
                number += 1
                name = f"{'AB'[camera]}_{number:04d}.jpg"
                write_take(folder / name, stage, take, clock, spoiling, camera, rng)
                _note(group, name, take)
                frames += 1
            expected.append(group)
    return Shoot(folder, tuple(expected), frames)


def _stream(rng: np.random.Generator, episodes: int) -> list[list[Take]]:
    makers = [maker for maker, _ in EPISODES]
    weights = np.array([weight for _, weight in EPISODES])
    picks = rng.choice(len(makers), size=episodes, p=weights / weights.sum())
    return [makers[pick](rng) for pick in picks]


def _note(group: Expected, name: str, take: Take) -> None:
    if take.role == "foreground":
        (group.poor if take.shake_px else group.foregrounds).append(name)
    elif take.role == "background":
        group.backgrounds.append(name)
    elif take.role == "bridge":
        group.bridges.append(name)
    elif take.role == "clear":
        group.clears.append(name)


def picture(stage: Scene, take: Take, rng: np.random.Generator, gain: float = 1.0) -> Float:
    """Render a take as a hand-held camera sees it, float32 (height, width, 3), linear."""
    seed = int(rng.integers(2**31))
    camera = Camera(
        f_number=take.f_number,
        focus_distance_m=take.focus_m,
        pixel_pitch_mm=36.0 / max(stage.size),
        shift_mm=(float(rng.normal(0, 1.5)), float(rng.normal(0, 1.0))),
        rotation_deg=float(rng.normal(0, 0.35)),
        scale=1.0 + 0.006 * (FAR_M - take.focus_m),
        offset_px=(float(rng.normal(0, 2.2)), float(rng.normal(0, 1.6))),
        falloff_ev_corner=1.2 if take.f_number < 4 else 0.2,
        gain=gain,
        shake_px=take.shake_px,
        samples=60,
    )
    moves = {layer.name: take.pose_px for layer in stage.layers if layer.role == "sitter"}
    without = {"foreground"} if take.cleared else set()
    light = render(stage, camera, moves=moves, without=without, seed=seed)
    return exposed(light, camera, tone_curve=True, seed=seed + 1)


def write_take(
    path: Path,
    stage: Scene,
    take: Take,
    moment: datetime,
    spoiling: Spoiling,
    camera: int,
    rng: np.random.Generator,
) -> None:
    """Write a take with the Exif that is left after the spoiling."""
    time_s = 1 / 500 if take.f_number < 4 else 1 / 125
    exact = 100 * (take.f_number / WIDE) ** 2 * (1 / 500) / time_s
    iso = 100 * 2 ** (round(3 * np.log2(exact / 100)) / 3)
    light = float(2 ** rng.normal(0, 0.15))
    capture = Capture(
        f_number=take.f_number,
        exposure_time_s=time_s,
        iso=iso,
        focal_length_mm=135.0,
        focus_distance_m=round(take.focus_m * float(rng.uniform(0.98, 1.02)), 2)
        if spoiling.keeps_focus
        else None,
        captured_at=moment,
        camera=("Orchard Mk I", "Orchard Mk II")[camera],
        lens="Pome 135 mm",
    )
    recorded = replace(capture, **dict.fromkeys(spoiling.drop))
    pixels = picture(stage, take, rng, gain=light * iso / exact)
    write_picture(path, pixels, like=Frame(pixels, recorded, path.name))
