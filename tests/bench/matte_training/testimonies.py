"""What the second look is trained on: the first look's matte of a scene, and the testimony on it.

Scenes are those of scenes.py.  Each is taken as a pair of frames with grain, errors of light and
place; the package's own stages find blur, sitter, matte, discs and testimony.  A scene is 448 px
wide and stands for a part of a picture of 1200 px, so shares of the long side are larger here.

Each is asked about as a merge asks: what the first look found, and what is kept of that; of boughs
that are soft in their own frame the former alone, at the size at which they are sharp.

    python tests/bench/matte_training/testimonies.py SCENES TESTIMONIES
"""

import sys
from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path

import click
import cv2
import numpy as np
from hints import wobbly_hint
from tints import colour_mix, mixed

from blendkit.blending import Laid
from blendkit.blending.ground_discs import told_from_ground
from blendkit.blending.proof import keep_likely, veil_testimony
from blendkit.blending.sketch import Reduced, draw_sketch, judged_at, reduced
from blendkit.filters.resample import reduce_by
from blendkit.frame import Bool, Capture, Float
from blendkit.hints import Hints
from blendkit.masks import network
from blendkit.masks.colors import foreground_color
from blendkit.masks.find import Found, find_coverage
from blendkit.masks.network import run_network
from blendkit.masks.pair_focus import refocused
from blendkit.masks.region import search_region
from blendkit.masks.second_look import second_planes
from blendkit.masks.sitter import find_sitter, protected
from blendkit.settings import DiscSettings, MergeSettings, SharpnessSettings
from blendkit.sharpness.relative import filled, relative_blur
from blendkit.steps import near

SETTINGS = replace(
    MergeSettings(),
    sharpness=SharpnessSettings(working_size_px=224, largest_disc_share=0.3, window_share=0.05),
    discs=DiscSettings(
        working_size_px=112,
        largest_disc_share=0.42,
        largest_shift_share=0.027,
        slow_share=12.5 / 112,
    ),
)
network.COARSEST_PX = 120  # 320 of 1200
_UNRECORDED = Capture(), Capture()
_PAINTED = 0.65
_CLIPPED = 0.995
_BOLDER = 0.4
"""Share of scenes with the odds of the first matte doubled: what to refuse must have been seen."""


@dataclass(frozen=True, eq=False, slots=True)
class Prepared:
    """A scene as far as the package's own stages bring it before discs are sought.

    found: the first look's matte.  region: where it was sought.  mask: painted, or None.
    grain: of both frames at middle grey.  truth: the true matte.
    """

    laid: Laid
    found: Float
    region: Bool
    mask: Float | None
    grain: tuple[float, float]
    truth: Float


def prepared(scene: dict[str, Float], seed: int) -> Prepared:
    """Return a scene as it is laid, and the first look's matte.

    scene: soft, sharp, matte and sitter as `scenes.training_pair` returns them.
    """
    rng = np.random.default_rng(seed)
    soft, sharp, grain = _taken(scene, rng)
    matte = np.clip(scene["matte"].astype(np.float32), 0, 1)
    full_w, full_s = (frame.max(axis=2) >= _CLIPPED for frame in (soft, sharp))
    painted = bool(rng.uniform() < _PAINTED)
    mask = wobbly_hint(matte, rng) > 0 if painted else np.zeros(matte.shape, np.bool_)
    usable, size = ~full_w & ~full_s & ~mask, (matte.shape[1], matte.shape[0])
    blur = relative_blur(soft, sharp, usable, SETTINGS.sharpness, grain=grain)
    softness = filled(blur, size)
    sitter = protected(find_sitter(soft, sharp, blur, grain[1]).kept, mask)
    given = mask.astype(np.float32) if painted else None
    everywhere = np.ones(matte.shape, np.bool_)
    hints = Hints(foreground_mask=given)
    region = search_region(everywhere, (soft, sharp), grain, sitter, hints)
    found = find_coverage(
        soft,
        sharp,
        region,
        grain[1],
        SETTINGS.matte,
        painted=painted,
        refocused=refocused(blur, _UNRECORDED),
    )
    if not painted:
        bare = usable & ~near(found.alpha > 0)
        blur = relative_blur(soft, sharp, bare, SETTINGS.sharpness, grain=grain)
        softness = filled(blur, size)
    laid = _laid(soft, sharp, softness, sitter, (full_w, full_s), found)
    return Prepared(laid, found.alpha, region, given, grain, matte)


def training_testimony(scene: dict[str, Float], seed: int) -> dict[str, np.ndarray] | None:
    """Return planes of the second look and the truth at their size; None where it is not asked.

    That is where there is no foreground, or the foreground frame is focused on it.
    planes: (1 or 2, PLANES, height, width), of the proposal and of what was kept of it.  factor:
    the reduction at which the foreground frame shows the foreground sharp.
    """
    pair = prepared(scene, seed)
    if pair.laid.refocused:
        return None
    if np.random.default_rng((seed, 1)).uniform() < _BOLDER:
        pair = replace(pair, found=np.asarray(2 * pair.found / (1 + pair.found), np.float32))
    small = reduced(pair.laid, judged_at(pair.laid))
    first = _testimony(pair, small, pair.found)
    if first is None:
        return None
    asked = [first]
    if pair.laid.factor == 1:
        chance = np.asarray(run_network("veil_net.onnx", first)[0], np.float32)
        again = _testimony(pair, small, keep_likely(pair.found, chance, 2 * small.factor))
        asked += [] if again is None else [again]
    return {
        "planes": np.stack(asked).astype(np.float16),
        "matte": reduce_by(pair.truth, 2 * small.factor),
        "factor": np.int32(pair.laid.factor),
    }


def _testimony(pair: Prepared, small: Reduced, alpha: Float) -> Float | None:
    """Return what the second look sees of a matte; None where nothing is left of it."""
    laid, grain = pair.laid, pair.grain[1] / small.factor
    color = foreground_color(laid.aligned, alpha)
    sketch = draw_sketch(small, alpha, color, SETTINGS.discs)
    if not sketch.groups:
        return None
    groups = sketch.groups
    if pair.mask is None:
        groups = told_from_ground(sketch.evidence, groups, laid.softness, SETTINGS.discs)
    said = veil_testimony(sketch.evidence, groups, laid.softness, SETTINGS.discs)
    matte, painted = reduce_by(alpha, small.factor), pair.mask is not None
    return second_planes(small.background, small.aligned, matte, said.parts, grain, painted=painted)


def _laid(
    soft: Float,
    sharp: Float,
    softness: Float,
    sitter: Float,
    full: tuple[Bool, Bool],
    found: Found,
) -> Laid:
    return Laid(
        background=soft,
        aligned=sharp,
        missing=(),
        lights=np.zeros(softness.shape, np.bool_),
        footprint=np.ones(softness.shape, np.bool_),
        softness=np.maximum(softness, 0),
        sharpness=np.where(softness < -2, -softness, 0).astype(np.float32),
        kept=sitter,
        painted=np.zeros(softness.shape, np.bool_),
        blind=full[0] | full[1],
        full=full[0] & ~near(full[1]),
        clear=None,
        factor=found.factor,
        refocused=found.refocused,
    )


def _taken(
    scene: dict[str, Float], rng: np.random.Generator
) -> tuple[Float, Float, tuple[float, float]]:
    """Return both frames as taken, and their grain at middle grey."""
    gain, light = np.exp(rng.uniform(-0.5, 0.5)), np.exp(rng.normal(0, 0.01, 3))
    mix = colour_mix(rng)
    soft = mixed(scene["soft"].astype(np.float32), mix) * gain
    sharp = mixed(scene["sharp"].astype(np.float32), mix) * gain * light
    if rng.uniform() < 0.3:
        power = rng.uniform(0.8, 1.25)
        soft, sharp = soft**power, sharp**power
    if rng.uniform() < 0.5:
        move = np.eye(2, 3)
        move[:, 2] = rng.normal(0, 0.3, 2)
        size = (soft.shape[1], soft.shape[0])
        soft = cv2.warpAffine(soft, move, size, borderMode=cv2.BORDER_REFLECT)
    grain = (rng.uniform(0.001, 0.006), 0.002 * np.exp(rng.uniform(0, 2.5)))
    smooth_px = rng.uniform(0.3, 0.6) if rng.uniform() < 0.7 else 0.0
    return _grainy(soft, grain[0], 0.0, rng), _grainy(sharp, grain[1], smooth_px, rng), grain


def _grainy(light: Float, grain: float, smooth_px: float, rng: np.random.Generator) -> Float:
    noise = rng.standard_normal(light.shape, np.float32)
    if smooth_px:
        noise = cv2.GaussianBlur(noise, (0, 0), smooth_px)
    clipped = np.clip(light, 0, 1)
    noisy = clipped + grain * np.sqrt(clipped / 0.18 + 0.05) * noise
    return np.clip(noisy, 0, 1).astype(np.float32)


Made = Callable[[dict[str, Float], int], dict[str, np.ndarray] | None]


def command(made: Made, help_: str) -> click.Command:
    """Return a command that makes something of every scene in a folder, as npz files."""

    @click.command(help=help_)
    @click.argument("scenes", type=click.Path(exists=True, file_okay=False, path_type=Path))
    @click.argument("folder", type=click.Path(path_type=Path))
    @click.option("--parts", default=1, help="how many processes share the work")
    @click.option("--part", default=0, help="which of them this is")
    def main(scenes: Path, folder: Path, parts: int, part: int) -> None:
        cv2.setNumThreads(1)
        folder.mkdir(parents=True, exist_ok=True)
        for index, file in enumerate(sorted(scenes.glob("*.npz"))):
            target = folder / file.name
            if index % parts != part or target.exists():
                continue
            seen = made(dict(np.load(file)), index)
            if seen is not None:
                np.savez(target, **seen)
            if index % 50 == 0:
                print(index, file=sys.stderr)

    return main


if __name__ == "__main__":
    command(training_testimony, "Write what the second look sees of every scene to FOLDER.")()
