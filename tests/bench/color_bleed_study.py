"""Colour of thin boughs in pairs whose files hold colour more softly than brightness.

    python tests/bench/color_bleed_study.py --seed 22

Each pair is merged as it is, as JPEG with colour at half the size (4:2:0, quality 92), and with its
colour smoothed by a Gaussian of 1.7 px, as developers do at high ISO.  Printed: RMS of the error in
CIELAB's a and b over boughs up to some 9 px wide, in the aligned foreground frame and in the
result, and the PSNR of edges and of the whole.
"""

from collections.abc import Callable
from dataclasses import replace
from io import BytesIO

import click
import cv2
import numpy as np
from PIL import Image
from skimage.color import rgb2lab

from blendkit.filters.bands import gaussian
from blendkit.frame import Bool, Float, luminance
from blendkit.hints import Hints
from blendkit.merge import merge_pair
from blendkit.sharpness.color_blur import measure_color_blur
from blendkit.simulate import SCENES, PairSpec, make_pair
from blendkit.simulate.metrics import psnr, regions
from blendkit.simulate.rough_mask import rough_mask

_NAMES = "twigs_against_sky,leaves,thin_boughs_over_woods,boughs_at_two_depths"
_GAMMA = 2.2
_THIN_PX = 9


def as_jpeg(pixels: Float) -> Float:
    """Return linear pixels written as 4:2:0 and read again."""
    codes = np.uint8(255 * np.clip(pixels, 0, 1) ** (1 / _GAMMA) + 0.5)
    stream = BytesIO()
    Image.fromarray(codes).save(stream, "JPEG", quality=92, subsampling=2)
    read = np.asarray(Image.open(stream), np.float32) / 255
    return np.asarray(read**_GAMMA, np.float32)


def smoothed(pixels: Float) -> Float:
    """Return pixels with their colour smoothed."""
    light = luminance(pixels)[..., None]
    return np.asarray(np.maximum(light + gaussian(pixels - light, 1.7), 0), np.float32)


_FILES: dict[str, Callable[[Float], Float]] = {
    "as it is": lambda pixels: pixels,
    "4:2:0": as_jpeg,
    "smoothed": smoothed,
}


def color_error(found: Float, truth: Float, where: Bool) -> float:
    """Return the RMS distance in a and b."""
    one, other = (rgb2lab(np.clip(p, 0, 1) ** (1 / _GAMMA))[where] for p in (found, truth))
    return float(np.sqrt(np.square(one - other)[:, 1:].sum(axis=1).mean()))


@click.command()
@click.option("--names", default=_NAMES, help="scenes, by comma")
@click.option("--seed", default=22)
def main(names: str, seed: int) -> None:
    """Print a row for every scene and kind of file."""
    for name in names.split(","):
        spec = PairSpec(
            foreground_disc_px=(84.0, 1.6),
            background_disc_px=(40.0, 5.0),
            iso=(100.0, 400.0),
            shift_px=(7.0, -5.0),
            seed=seed,
        )
        pair = make_pair(SCENES[name](seed, (1200, 800)), spec)
        truth, edge = pair.truth, regions(pair.truth)["edge"]
        hints = Hints(foreground_mask=rough_mask(truth.matte, seed=1))
        wide = cv2.erode(truth.matte, np.ones((_THIN_PX, _THIN_PX)))
        for kind, file in _FILES.items():
            frames = (replace(f, pixels=file(f.pixels)) for f in (pair.background, pair.foreground))
            merged = merge_pair(*frames, hints=hints)
            thin = (truth.matte > 0.98) & (wide < 0.02) & (merged.matte.alpha > 0.9)
            before, after = (
                color_error(p, truth.composite, thin) for p in (merged.aligned, merged.pixels)
            )
            print(
                f"{name}, {kind}: softer by {measure_color_blur(merged.aligned):.2f} px, "
                f"colour {before:.1f} in the frame, {after:.1f} in the result; "
                f"edges {psnr(merged.pixels, truth.composite, region=edge):.2f} dB, "
                f"whole {psnr(merged.pixels, truth.composite):.2f} dB",
                flush=True,
            )


if __name__ == "__main__":
    main()
