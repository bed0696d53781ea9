"""The merge against truth, floor and ceiling, over scenes, seeds and kinds of hint.

    python tests/bench/merge_figures.py --hints rough --seeds 1,2,3
    python tests/bench/merge_figures.py --hints strokes,auto --more
    python tests/bench/merge_figures.py --hints rough,auto --own-disc 9
    python tests/bench/merge_figures.py --hints rough,auto --refocused
    python tests/bench/merge_figures.py --hints rough --rims 0.25

The third is a pair taken with one focus: stopping down leaves the boughs a disc of their own.  The
fourth has the foreground frame focused on the boughs, which spreads sitter and background in it.
In the fifth both rims of the lens cover a quarter of the open pupil in the corners.

PSNR in dB in linear light against the exact composite.  "halo": the blurred foreground covers over
3 % and the true matte is below 2 %.  "gain" is the share of the headroom (ceiling minus floor,
whole picture) that the merge wins.  Pixels that the foreground frame does not reach are left
out: no merge can know them.  Floor and ceiling: merge_references.py; which part of the loss is
whose: merge_ablation.py.  "recall": centre lines of twigs of 2 px and more; "cf": mean error of the
matte over that of closed form on the same mask; "flip": 95th percentile in the halo; "grain":
smallest and largest ratio of pasted to surrounding grain over five tones.
"""

import pickle
from collections.abc import Iterator
from dataclasses import dataclass, field, replace
from pathlib import Path

import click
import numpy as np
from merge_metrics import centre_line_recall, closed_form_error, flip_95, grain_ratios
from merge_references import ceiling, floor_results

from blendkit.alignment.warp import warp_to_background
from blendkit.frame import Float
from blendkit.hints import Hints
from blendkit.masks.strokes import Stroke, rasterise
from blendkit.merge import Merged, merge_pair
from blendkit.simulate import scenes
from blendkit.simulate.metrics import grid_rms_px, psnr, regions
from blendkit.simulate.pair import SimulatedPair, make_pair
from blendkit.simulate.rough_mask import SEEN_FROM, eight_strokes, rough_mask
from blendkit.simulate.sensor import falloff
from blendkit.simulate.spec import PairSpec

_SOFT_PX, _SEEN_SOFT_FROM = 3.0, 0.12
"""Disc of the boughs in the foreground frame that leaves thin twigs faint, and from what coverage
they are seen then."""
FIRST = (
    "thin_boughs_over_woods",
    "twigs_against_sky",
    "thick_boughs",
    "twigs_from_below_over_hills",
    "boughs_at_two_depths",
    "leaves",
)
MORE: dict[str, tuple[str, dict[str, object]]] = {
    "wind of 12 px": ("twigs_against_sky", {"wind_px": (9.6, 7.2)}),
    "bright points": ("bright_points_behind_twigs", {}),
    "parallax of 6 px": ("twigs_from_below_over_hills", {"parallax_px": (4.8, -3.6)}),
    "tone curve": ("thick_boughs", {"tone_curve": True}),
    "focus pair": (
        "boughs_at_two_depths",
        {"f_number": (4.0, 4.0), "background_disc_px": (2.0, 45.0)},
    ),
    "sitter beside twigs": ("sitter_beside_twigs", {}),
}


def spec_for(seed: int, **changes: object) -> PairSpec:
    """Return a pair drawn from the ranges that the figures are asked for."""
    rng = np.random.default_rng(4000 + seed)
    drawn = PairSpec(
        foreground_disc_px=(rng.uniform(45, 130), rng.uniform(0.5, 2.0)),
        background_disc_px=(rng.uniform(18, 60), rng.uniform(2, 8)),
        shift_px=(rng.uniform(-14, 14), rng.uniform(-14, 14)),
        rotation_deg=rng.uniform(-0.5, 0.5),
        scale=rng.uniform(0.99, 1.01),
        gain=rng.uniform(1 / 1.3, 1.3),
        falloff_ev=(rng.uniform(0.2, 2.0), rng.uniform(0.0, 0.2)),
        iso=(100.0, float(rng.choice([800, 1600]))),
        seed=seed,
    )
    return replace(drawn, **changes)  # type: ignore[arg-type]


@dataclass(frozen=True)
class Case:
    """One pair with its name, seed and how it was taken."""

    name: str
    scene: str
    seed: int
    spec: PairSpec
    pair: SimulatedPair = field(repr=False)


def cases(
    names: list[str],
    seeds: list[int],
    size: tuple[int, int],
    cache: Path | None,
    own_disc_px: float | None = None,
    *,
    refocused: bool = False,
    rims: float = 0.0,
) -> Iterator[Case]:
    """Yield the pairs; cache keeps them between runs.

    own_disc_px: of the nearest boughs in the foreground frame, if not as drawn.
    refocused: whether the foreground frame is focused on the boughs, not on the sitter.
    rims: how far either rim of the lens covers the background frame's pupil in the corners.
    """
    for name in names:
        scene, changes = MORE.get(name, (name, {}))
        for seed in seeds:
            spec = replace(spec_for(seed, **changes), cat_eye=(rims, rims))
            if own_disc_px is not None and spec.foreground_disc_px is not None:
                spec = replace(spec, foreground_disc_px=(spec.foreground_disc_px[0], own_disc_px))
            if refocused:
                spec = _refocused(spec)
            yield Case(name, scene, seed, spec, _pair(name, scene, seed, spec, size, cache))


def _refocused(spec: PairSpec) -> PairSpec:
    """Return a pair as the plan advises it: f/8 to f/16 on boughs at half the sitter's distance."""
    assert spec.background_disc_px is not None
    rng = np.random.default_rng(7000 + spec.seed)
    return replace(
        spec,
        background_disc_px=(spec.background_disc_px[0], rng.uniform(10, 20)),
        sitter_disc_px=(rng.uniform(0, 0.6), rng.uniform(3, 8)),
    )


def _pair(
    name: str, scene: str, seed: int, spec: PairSpec, size: tuple[int, int], cache: Path | None
) -> SimulatedPair:
    assert spec.foreground_disc_px is not None
    label = f"{name.replace(' ', '_')}-{seed}-{size[0]}-{spec.foreground_disc_px[1]:.2f}"
    if spec.sitter_disc_px is not None:
        label += f"-{spec.sitter_disc_px[1]:.2f}"
    if any(spec.cat_eye):
        label += f"-rims-{spec.cat_eye[0]:.2f}"
    kept = cache / f"{label}.pkl" if cache else None
    if kept and kept.exists():
        return pickle.loads(kept.read_bytes())  # noqa: S301 - our own file
    pair = make_pair(getattr(scenes, scene)(seed, size), spec)
    if kept:
        kept.parent.mkdir(parents=True, exist_ok=True)
        kept.write_bytes(pickle.dumps(pair))
    return pair


def true_sharp(case: Case) -> Float:
    """Return the foreground frame under its true warp, in the background frame's true light."""
    width, height = case.pair.background.size
    moved = warp_to_background(case.pair.foreground.pixels, case.pair.truth.warp, (width, height))
    own = falloff((width, height), case.spec.falloff_ev[0])
    other = falloff((width, height), case.spec.falloff_ev[1])
    back = own / (other * np.asarray(case.spec.gain, np.float32).reshape(1, 1, -1)[..., 0])
    return moved.pixels * back[..., None]


def blurred_shift_px(spec: PairSpec) -> tuple[float, float]:
    """Return where the blurred foreground lies beside the sharp one: wind and parallax undone."""
    x, y = np.add(spec.wind_px, spec.parallax_px)
    return -float(x), -float(y)


def hand_painted(case: Case) -> Float:
    """Return a rough mask; a hand paints a soft twig too, that covers little of any pixel."""
    discs_px = case.spec.foreground_disc_px
    soft = discs_px is not None and discs_px[1] > _SOFT_PX
    seen_from = _SEEN_SOFT_FROM if soft else SEEN_FROM
    return rough_mask(case.pair.truth.matte, seed=case.seed, seen_from=seen_from)


def hints_for(kind: str, case: Case) -> Hints:
    """Return what the user gives: a rough mask, eight strokes, nothing, or the truth."""
    matte = case.pair.truth.matte
    if kind == "rough":
        return Hints(foreground_mask=hand_painted(case))
    if kind == "strokes":
        drawn = [
            Stroke(s.points, s.diameter_px, s.role) for s in eight_strokes(matte, seed=case.seed)
        ]
        painted = rasterise(drawn, case.pair.background.size)
        return Hints(front_strokes=painted.foreground, back_strokes=painted.background)
    return Hints(matte=matte) if kind == "truth" else Hints()


def judge(case: Case, kind: str) -> tuple[dict[str, float], Merged]:
    """Merge one case and return its figures."""
    truth, pair = case.pair.truth, case.pair
    mask = hand_painted(case)
    sharp = true_sharp(case)
    reached = warp_to_background(sharp, truth.warp, pair.background.size).footprint
    parts = {name: part & reached for name, part in regions(truth).items()}

    def scores(result: Float) -> dict[str, float]:
        return {name: psnr(result, truth.composite, region=part) for name, part in parts.items()}

    floors = [scores(p) for p in floor_results(pair, mask, sharp).values()]
    floor = {name: max(f[name] for f in floors) for name in ("whole", "halo", "edge", "core")}
    top = scores(ceiling(pair, sharp, blurred_shift_px(case.spec), sum(case.spec.cat_eye)))
    merged = merge_pair(pair.background, pair.foreground, hints=hints_for(kind, case))
    got = scores(merged.pixels)
    edge = parts["edge"]
    matte_error = float(np.abs(merged.matte.alpha - truth.matte)[edge].mean())
    grain = grain_ratios(merged.pixels, pair.background.pixels, truth, reached) or [float("nan")]
    unpainted = parts["sitter"] & ~hints_for(kind, case).painted(pair.background.size)
    changed = np.abs(merged.pixels - pair.background.pixels).max(axis=2) > 1 / 65535
    return {
        "align": grid_rms_px(merged.alignment.matrix, truth.warp, pair.background.size),
        "floor": floor["whole"],
        "whole": got["whole"],
        "ceiling": top["whole"],
        "gain": (got["whole"] - floor["whole"]) / max(top["whole"] - floor["whole"], 0.1),
        "floor halo": floor["halo"],
        "halo": got["halo"],
        "top halo": top["halo"],
        "edge": got["edge"],
        "core": got["core"],
        "matte": matte_error,
        "cf": matte_error / closed_form_error(sharp, mask, truth.matte, edge),
        "recall": centre_line_recall(merged.matte.alpha, truth.matte, reached),
        "flip": flip_95(merged.pixels, truth.composite, parts["halo"]),
        "grain low": min(grain),
        "grain high": max(grain),
        "light": merged.light.residual_ev,
        "sitter": float((changed & unpainted).sum() / max(unpainted.sum(), 1)),
        "time": sum(merged.time_s.values()),
    }, merged


def print_row(label: str, figures: dict[str, float], *, first: bool) -> None:
    """Print a case's row as soon as it is known, the first one under the names of the figures."""
    if first:
        print(f"{'scene':34s}" + "".join(f"{name:>11s}" for name in figures))
    values = "".join(f"{value:11.3f}" for value in figures.values())
    print(f"{label:34s}{values}", flush=True)


def print_medians(rows: list[dict[str, float]]) -> None:
    """Print what the rows say together."""
    medians = {name: float(np.median([figures[name] for figures in rows])) for name in rows[0]}
    print_row("median", medians, first=False)
    ahead = [figures["whole"] - figures["floor"] for figures in rows]
    halo = [figures["halo"] - figures["floor halo"] for figures in rows]
    print(f"whole above floor: median {np.median(ahead):.2f}, least {min(ahead):.2f} dB")
    print(f"halo above floor:  median {np.median(halo):.2f}, least {min(halo):.2f} dB")
    least = min(figures["gain"] for figures in rows)
    print(f"headroom gained:   median {medians['gain']:.2f}, least {least:.2f}")


@click.command()
@click.option("--hints", default="rough", help="rough, strokes, auto, truth; several by comma")
@click.option("--names", default="", help="scenes, by comma; default the six of the first table")
@click.option("--more", is_flag=True, help="add the six hard cases")
@click.option("--seeds", default="1,2,3")
@click.option("--size", default="1200x800")
@click.option("--cache", type=click.Path(path_type=Path))
@click.option("--own-disc", type=float, help="of the boughs in the foreground frame, px")
@click.option("--refocused", is_flag=True, help="the foreground frame is focused on the boughs")
@click.option("--rims", type=float, default=0.0, help="how far each covers the pupil, 0 to 0.35")
def main(
    hints: str,
    names: str,
    more: bool,
    seeds: str,
    size: str,
    cache: Path | None,
    own_disc: float | None,
    refocused: bool,
    rims: float,
) -> None:
    """Print the table."""
    chosen = [n for n in names.split(",") if n] or [*FIRST, *(MORE if more else ())]
    width, height = (int(n) for n in size.split("x"))
    for kind in hints.split(","):
        print(f"hints: {kind}")
        rows: list[dict[str, float]] = []
        numbers = [int(s) for s in seeds.split(",")]
        drawn = cases(
            chosen, numbers, (width, height), cache, own_disc, refocused=refocused, rims=rims
        )
        for case in drawn:
            rows.append(judge(case, kind)[0])
            print_row(f"{case.name} {case.seed}", rows[-1], first=len(rows) == 1)
        print_medians(rows)


if __name__ == "__main__":
    main()
