"""Which part of the loss is whose: the merge again, with the truth swapped in for one part.

    python tests/bench/merge_ablation.py --seeds 1,2 [--cache FOLDER]

Each column is the gain in dB of the whole picture (and of the halo) over the merge as it is, when
one part is known.  "at the end" swaps in the finished merge, so that nothing else can follow from
it; the others start from the known part.
"""

import sys
from dataclasses import replace
from pathlib import Path

import click
import numpy as np
from merge_figures import FIRST, MORE, Case, cases, hints_for, true_sharp

from blendkit.alignment.warp import warp_to_background
from blendkit.blending import Plate
from blendkit.blending.compose import compose
from blendkit.frame import Float, Frame
from blendkit.hints import Hints
from blendkit.merge import Merged, merge_pair
from blendkit.settings import DiscSettings, MergeSettings
from blendkit.simulate.metrics import psnr, regions


def ablated(case: Case, kind: str) -> dict[str, Float]:
    """Return the results, as the merge is and with one part known."""
    pair, truth = case.pair, case.pair.truth
    hints = hints_for(kind, case)
    merged = merge_pair(pair.background, pair.foreground, hints=hints)
    laid = Frame(np.clip(true_sharp(case), 0, 1), pair.foreground.capture, "laid")
    disc = float(np.mean([truth.blur_discs_px[name][0] for name in truth.layer_mattes]))
    known_disc = MergeSettings(discs=DiscSettings(disc_px=disc))
    return {
        "as it is": merged.pixels,
        "alignment, light": merge_pair(
            pair.background, laid, hints=replace(hints, aligned=True)
        ).pixels,
        "disc": merge_pair(
            pair.background, pair.foreground, hints=hints, settings=known_disc
        ).pixels,
        "matte": merge_pair(
            pair.background, pair.foreground, hints=Hints(matte=truth.matte)
        ).pixels,
        "matte at the end": _composed(case, merged, alpha=truth.matte),
        "colour at the end": _composed(case, merged, color=truth.foreground_color),
        "plate at the end": _composed(case, merged, plate=truth.plate),
    }


def _composed(
    case: Case,
    merged: Merged,
    *,
    alpha: Float | None = None,
    color: Float | None = None,
    plate: Float | None = None,
) -> Float:
    own = merged.plate if plate is None else _known_plate(merged, plate)
    coverage = merged.matte.alpha if alpha is None else alpha
    straight = merged.matte.color
    if color is not None:
        known = (case.pair.truth.matte > 1e-3)[..., None]
        straight = np.where(known, color, straight)
    return compose(case.pair.background.pixels, own, coverage, straight.__getitem__)


def _known_plate(merged: Merged, plate: Float) -> Plate:
    return replace(merged.plate, beneath=plate, touched=np.ones(plate.shape[:2], np.bool_))


@click.command()
@click.option("--hints", default="rough", help="rough, strokes or auto")
@click.option("--names", default="", help="scenes, by comma; default the six of the first table")
@click.option("--more", is_flag=True, help="add the hard cases")
@click.option("--seeds", default="1")
@click.option("--size", default="1200x800")
@click.option("--cache", type=click.Path(path_type=Path))
def main(hints: str, names: str, more: bool, seeds: str, size: str, cache: Path | None) -> None:
    """Print the gains, one row a case, and their medians."""
    chosen = [n for n in names.split(",") if n] or [*FIRST, *(MORE if more else ())]
    width, height = (int(n) for n in size.split("x"))
    rows: list[dict[str, tuple[float, float]]] = []
    for case in cases(chosen, [int(s) for s in seeds.split(",")], (width, height), cache):
        truth = case.pair.truth
        reached = warp_to_background(
            case.pair.foreground.pixels, truth.warp, case.pair.background.size
        ).footprint
        parts = {name: part & reached for name, part in regions(truth).items()}
        scores = {
            name: tuple(psnr(p, truth.composite, region=parts[r]) for r in ("whole", "halo"))
            for name, p in ablated(case, hints).items()
        }
        base = scores.pop("as it is")
        gains = {n: (w - base[0], h - base[1]) for n, (w, h) in scores.items()}
        rows.append(gains)
        told = "  ".join(f"{n} {w:+.1f}/{h:+.1f}" for n, (w, h) in gains.items())
        print(f"{case.name} {case.seed}: {base[0]:.1f}/{base[1]:.1f} dB  {told}", flush=True)
    for name in rows[0]:
        whole, halo = (float(np.median([row[name][k] for row in rows])) for k in (0, 1))
        print(f"median gain with known {name:18s} whole {whole:+.2f}  halo {halo:+.2f} dB")
    sys.stdout.flush()


if __name__ == "__main__":
    main()
