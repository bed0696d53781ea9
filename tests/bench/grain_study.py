"""Pasted grain by itself: what changes when only the noise of both frames is drawn anew.

    python tests/bench/grain_study.py --seeds 1,2
    python tests/bench/grain_study.py --seeds 2 --mosaic

`merge_figures.py` holds a result to the noise-free truth, so whatever is wrong in fine detail (bark
dulled by resampling, a twig's edge a little aside) counts as grain there.  Here each pair is taken
twice, with the same light and other noise.  Half the power of the difference of both results is
grain and nothing else, and its ratio is taken where both mattes are whole, against surroundings of
the same tones that no veil touches, in five tones of the pasted light.  After the ratios:
correlation of adjacent pixels' grain, of light and of red less blue, pasted and around.

--mosaic takes the pairs through a colour filter array: demosaiced grain is shared by neighbours.
"""

import itertools
from dataclasses import replace

import click
import numpy as np
from merge_figures import FIRST, MORE, hints_for, spec_for
from merge_figures import Case as Taken
from merge_metrics import deviation, fine

from blendkit.frame import Bool, Float, Frame, luminance
from blendkit.merge import Merged, merge_pair
from blendkit.settings import GrainSettings, MergeSettings
from blendkit.simulate import scenes
from blendkit.simulate.pair import make_pair
from blendkit.simulate.render import render
from blendkit.simulate.sensor import exposed
from blendkit.simulate.wind import blown

_TONES, _LEAST_PX = 5, 200
_OTHER_NOISE = 700


def taken_twice(
    name: str, seed: int, size: tuple[int, int], *, mosaic: bool
) -> tuple[Taken, tuple[Frame, Frame]]:
    """Return a pair with its truth, and both its frames again with other noise."""
    scene_name, changes = MORE.get(name, (name, {}))
    spec = replace(spec_for(seed, **changes), mosaic=mosaic)
    scene = getattr(scenes, scene_name)(seed, size)
    pair = make_pair(scene, spec)
    wide, narrow = spec.cameras(scene)
    later = blown(scene, spec.gust_px, seed=spec.seed + 4)
    light = render(scene, wide, seed=spec.seed)
    sharp = render(later, narrow, moves=spec.movements(scene), seed=spec.seed + 1)
    again = [
        replace(
            frame,
            pixels=exposed(
                seen, camera, tone_curve=spec.tone_curve, seed=noise, mosaic=spec.mosaic
            ),
        )
        for frame, seen, camera, noise in (
            (pair.background, light, wide, _OTHER_NOISE + seed),
            (pair.foreground, sharp, narrow, 2 * _OTHER_NOISE + seed),
        )
    ]
    return Taken(name, scene_name, seed, spec, pair), (again[0], again[1])


def ratios(
    case: Taken, first: Merged, second: Merged, before: tuple[Frame, Frame]
) -> tuple[list[float], list[tuple[float, float]]]:
    """Return pasted grain over that of the surroundings, tone by tone, and how it correlates."""
    truth = case.pair.truth
    solid = (first.matte.alpha > 0.995) & (second.matte.alpha > 0.995) & (truth.matte > 0.995)
    free = (truth.veil_coverage < 1e-4) & (truth.matte < 1e-4)
    changed, background = first.pixels - second.pixels, before[0].pixels - before[1].pixels
    pasted, around = fine(changed), fine(background)
    shared = [
        (adjacent(of(changed), solid), adjacent(of(background), free)) for of in (luminance, colour)
    ]
    tone = luminance(truth.composite)
    found = []
    limits = np.quantile(tone[solid], np.linspace(0, 1, _TONES + 1))
    for low, high in itertools.pairwise(limits):
        there = solid & (tone >= low) & (tone <= high)
        other = free & (tone >= 0.8 * low) & (tone <= 1.25 * high)
        if min(there.sum(), other.sum()) >= _LEAST_PX:
            found.append(deviation(pasted[there]) / max(deviation(around[other]), 1e-9))
    return found, shared


def colour(grain: Float) -> Float:
    """Return red less blue."""
    return np.asarray(grain[..., 0] - grain[..., 2], np.float32)


def adjacent(grain: Float, where: Bool) -> float:
    """Return the correlation of pixels that lie side by side."""
    both = where[:, 1:] & where[:, :-1]
    return float(np.corrcoef(grain[:, 1:][both], grain[:, :-1][both])[0, 1])


@click.command()
@click.option("--names", default=",".join(FIRST), help="scenes, by comma")
@click.option("--seeds", default="1,2")
@click.option("--size", default="1200x800")
@click.option("--mosaic", is_flag=True, help="take the pairs through a colour filter array")
def main(names: str, seeds: str, size: str, *, mosaic: bool) -> None:
    """Print the ratios of every pair, and their median."""
    width, height = (int(n) for n in size.split("x"))
    every: list[float] = []
    for name, seed in itertools.product(names.split(","), [int(s) for s in seeds.split(",")]):
        case, again = taken_twice(name, seed, (width, height), mosaic=mosaic)
        frames = (case.pair.background, case.pair.foreground), again
        merged = [
            merge_pair(
                *pair,
                hints=hints_for("rough", case),
                settings=MergeSettings(grain=GrainSettings(seed=number)),
            )
            for number, pair in enumerate(frames)
        ]
        found, shared = ratios(case, merged[0], merged[1], (frames[0][0], frames[1][0]))
        every += found
        told = "; ".join(f"{pasted:.2f} {around:.2f}" for pasted, around in shared)
        print(f"{name} {seed}: {' '.join(f'{r:.2f}' for r in found)} | {told}", flush=True)
    print(f"median {np.median(every):.2f}, {min(every):.2f} to {max(every):.2f}")


if __name__ == "__main__":
    main()
