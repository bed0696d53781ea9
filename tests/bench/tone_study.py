"""What a tone curve costs: light left over the tones, and the halo beside the linear pair's.

    python tests/bench/tone_study.py --seeds 2,31,32 [--halo]

Each pair is simulated twice, linear and through the simulator's S-shaped curve, at 600x400 px, with
true alignment for the light.  "left": median absolute EV over all pixels of the foreground frame
brought into the background frame's light; then the median in six tones of the rendered picture.
"halo": PSNR in dB where the blurred foreground covers over 3 % and the true matte is below 2 %, in
linear light for both: the rendered result is straightened by the true curve first.
"""

from dataclasses import replace

import click
import numpy as np
from merge_figures import spec_for

from blendkit.alignment.photometric import fit_light
from blendkit.alignment.relight import apply_light
from blendkit.alignment.warp import warp_to_background
from blendkit.frame import Float
from blendkit.hints import Hints
from blendkit.merge import merge_pair
from blendkit.settings import LightSettings
from blendkit.simulate import scenes
from blendkit.simulate.metrics import psnr, regions
from blendkit.simulate.pair import SimulatedPair, make_pair
from blendkit.simulate.rough_mask import rough_mask
from blendkit.simulate.sensor import falloff, toned
from blendkit.simulate.spec import PairSpec

SIZE = (600, 400)
NAMES = ("thick_boughs", "leaves", "thin_boughs_over_woods", "twigs_from_below_over_hills")
TONES = (0.006, 0.02, 0.06, 0.18, 0.4, 0.7, 0.97)


def halved(seed: int, *, tone_curve: bool) -> PairSpec:
    """Return the settings of `merge_figures` for a frame half as wide."""
    spec = spec_for(seed, tone_curve=tone_curve)
    near, far = (spec.foreground_disc_px, spec.background_disc_px)
    return replace(
        spec,
        foreground_disc_px=(near[0] / 2, near[1] / 2),
        background_disc_px=(far[0] / 2, far[1] / 2),
        shift_px=(spec.shift_px[0] / 2, spec.shift_px[1] / 2),
    )


def untoned(rendered: Float) -> Float:
    """Return the light that `toned` renders so."""
    linear = np.linspace(0, 1, 20001, dtype=np.float32)
    return np.interp(rendered, toned(linear), linear).astype(np.float32)


def light_left(pair: SimulatedPair, spec: PairSpec) -> tuple[str, float, list[float]]:
    """Return what the fit took the pair for, the median |EV| left, and the median by tone."""
    moved = warp_to_background(pair.foreground.pixels, pair.truth.warp, SIZE)
    clear = (pair.background.pixels.max(axis=2) < 0.995) & (moved.pixels.max(axis=2) < 0.995)
    usable = clear & moved.footprint & (pair.truth.matte < 0.02)
    light = fit_light(pair.background, moved.pixels, usable, LightSettings())
    ratio = falloff(SIZE, spec.falloff_ev[0]) / falloff(SIZE, spec.falloff_ev[1])
    wanted = toned(untoned(moved.pixels) * (ratio[..., None] / np.float32(spec.gain)))
    low, high = TONES[0], TONES[-1]
    seen = moved.footprint[..., None] & (wanted > low) & (wanted < high)
    seen &= (moved.pixels > low) & (moved.pixels < high)
    left = np.log2(np.maximum(apply_light(moved.pixels, light), 1e-5)[seen] / wanted[seen])
    which = np.digitize(wanted[seen], TONES)
    parts = [left[which == k] for k in range(1, len(TONES))]
    by_tone = [float(np.median(p)) if len(p) > 300 else float("nan") for p in parts]
    return light.tone, float(np.median(np.abs(left))), by_tone


def halo_db(pair: SimulatedPair, seed: int, *, rendered: bool) -> float:
    """Return the merge's PSNR in the halo, linear light."""
    mask = rough_mask(pair.truth.matte, seed=seed)
    merged = merge_pair(pair.background, pair.foreground, hints=Hints(foreground_mask=mask))
    reached = warp_to_background(merged.pixels, pair.truth.warp, SIZE).footprint
    halo = regions(pair.truth)["halo"] & reached
    got, wanted = np.clip(merged.pixels, 0, 1), pair.truth.composite
    if rendered:
        got, wanted = untoned(got), untoned(np.clip(wanted, 0, 1))
    return psnr(got, wanted, region=halo)


@click.command()
@click.option("--names", default=",".join(NAMES), help="scenes, by comma")
@click.option("--seeds", default="31,32", help="by comma; 31 and up are held out")
@click.option("--halo", is_flag=True, help="merge both pairs too")
def main(names: str, seeds: str, *, halo: bool) -> None:
    """Print one line a pair."""
    for name in names.split(","):
        for seed in (int(s) for s in seeds.split(",")):
            spec = halved(seed, tone_curve=True)
            pair = make_pair(getattr(scenes, name)(seed, SIZE), spec)
            tone, left, by_tone = light_left(pair, spec)
            line = f"{name} {seed}: {tone}, left {left:.3f} EV, by tone {np.round(by_tone, 3)}"
            if halo:
                plain = make_pair(getattr(scenes, name)(seed, SIZE), halved(seed, tone_curve=False))
                db = halo_db(plain, seed, rendered=False), halo_db(pair, seed, rendered=True)
                line += f", halo linear {db[0]:.1f} dB, rendered {db[1]:.1f} dB"
            print(line, flush=True)


if __name__ == "__main__":
    main()
