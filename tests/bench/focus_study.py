"""How often a missed focus is found, and how often one is cried over a sharp sitter.

    python tests/bench/focus_study.py --cache FOLDER --seeds 11,12

Every named scene, three kinds a seed: "sharp" (her disc up to 0.8 px in the background frame),
"fgsharp" (4 to 8 px there, 0.12 to 0.4 of it in the foreground frame), "neither" (4 to 8 px, and
1.5 to 4 times that in the foreground frame).  1200 x 800 px, ISO 100 to 3200, frames that lie on
each other, the true matte; the sitter is found as in a merge.  Seeds 1 to 3 were looked at while
the check was built.
"""

import pickle
from pathlib import Path

import click
import numpy as np

from blendkit.frame import Float, Frame
from blendkit.hints import Hints
from blendkit.masks.sitter import find_sitter
from blendkit.midground.focus import missed_focus
from blendkit.settings import MergeSettings
from blendkit.simulate import SCENES, PairSpec, make_pair
from blendkit.steps import aligned_by, blur_between, in_one_light, near, noise_models

KINDS = ("sharp", "fgsharp", "neither")


def spec(kind: str, seed: int) -> PairSpec:
    """Return how a pair is taken; the sitter's disc depends on its kind."""
    rng = np.random.default_rng(1000 + seed)
    back, front = float(rng.uniform(20, 60)), float(rng.uniform(45, 130))
    own, ratio = float(rng.uniform(4, 8)), float(rng.uniform(0.12, 0.4))
    iso = float(rng.choice([100, 400, 1600])), float(rng.choice([400, 800, 1600, 3200]))
    if kind == "sharp":
        discs = float(rng.uniform(0, 0.8)), float(rng.uniform(0, 1.5))
    elif kind == "fgsharp":
        discs = own, own * ratio
    else:
        discs = own, own * float(rng.uniform(1.5, 4))
    return PairSpec(
        foreground_disc_px=(front, front * ratio * 0.3),
        background_disc_px=(back, back * (0.8 if kind == "neither" else ratio)),
        sitter_disc_px=discs,
        iso=iso,
        gain=float(rng.uniform(0.8, 1.2)),
        falloff_ev=(float(rng.uniform(0, 1.5)), 0.1),
        seed=seed,
        samples=160,
    )


def kept_pair(name: str, kind: str, seed: int, folder: Path) -> tuple[Frame, Frame, Float]:
    """Return both frames and the true matte, from their file or rendered."""
    file = folder / f"{name}-{kind}-{seed}.pkl"
    if not file.exists():
        pair = make_pair(SCENES[name](seed), spec(kind, seed))
        folder.mkdir(parents=True, exist_ok=True)
        truth = pair.truth
        file.write_bytes(
            pickle.dumps((pair.background, pair.foreground, truth.sitter, truth.matte))
        )
    background, foreground, _, matte = pickle.loads(file.read_bytes())[:4]  # noqa: S301 - own file
    return background, foreground, matte


def said(background: Frame, foreground: Frame, matte: Float) -> str:
    """Return what is flagged, as a merge would flag it; empty = nothing."""
    settings, hints = MergeSettings(), Hints(matte=matte, aligned=True)
    found = aligned_by(background, foreground, hints, settings)
    painted = hints.painted(background.size)
    lit = in_one_light(background, foreground, found.matrix, painted, settings)
    noise = noise_models(background, foreground, lit, found.matrix)
    grain = noise[0].at_middle_grey, noise[1].at_middle_grey
    blur = blur_between(background, lit, lit.shared & ~painted, grain, settings)
    drawn = find_sitter(background.pixels, lit.aligned, blur, grain[1]).drawn
    seen = drawn & lit.covered & ~near(matte > 0.01)
    frames, sigmas = (
        (background.pixels, lit.aligned),
        (noise[0].coarse_sigma, noise[1].coarse_sigma),
    )
    flags = missed_focus(frames, sigmas, seen, settings.viewing, foreground.name)
    return "; ".join(flag.message for flag in flags)


@click.command()
@click.option("--cache", type=click.Path(path_type=Path), required=True)
@click.option("--seeds", default="11,12")
@click.option("--kept-only", is_flag=True, help="leave out what is not rendered yet")
def main(cache: Path, seeds: str, *, kept_only: bool) -> None:
    """Print one line a pair, then how many of each kind were flagged."""
    counts = {kind: [0, 0] for kind in KINDS}
    for seed in (int(n) for n in seeds.split(",")):
        for name in SCENES:
            for kind in KINDS:
                if kept_only and not (cache / f"{name}-{kind}-{seed}.pkl").exists():
                    continue
                message = said(*kept_pair(name, kind, seed, cache))
                counts[kind][0] += bool(message)
                counts[kind][1] += 1
                one, other = spec(kind, seed).sitter_disc_px or (0, 0)
                print(f"{name} {seed} {kind} {one:.1f} {other:.1f} px: {message}", flush=True)
    for kind, (flagged, pairs) in counts.items():
        print(f"{kind}: {flagged} of {pairs} flagged")


if __name__ == "__main__":
    main()
