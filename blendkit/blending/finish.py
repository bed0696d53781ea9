"""Brings plate and foreground to the background frame's grain."""

from dataclasses import replace

import numpy as np

from blendkit.blending import Plate
from blendkit.blending.grain import Sigma, add_grain, reduce_grain
from blendkit.filters.bands import gaussian
from blendkit.filters.channels import channel_mean
from blendkit.filters.threads import each_part
from blendkit.filters.tiles import Window, inside, tiles
from blendkit.frame import Float
from blendkit.settings import GrainSettings

_SOFT_FROM_PX = 3.0
_TILE, _MARGIN = 512, 24


def plate_with_grain(
    plate: Plate, coverage: Float, softness: Float, wanted: Sigma, settings: GrainSettings
) -> Plate:
    """Return the plate with the background frame's grain.

    Division has multiplied the grain by 1/(1 - a*k): where the background is soft, all of its fine
    band is grain, and that band is scaled back.  Re-rendering has none, and gets it.

    A clear frame's light is taken with its own grain.

    coverage: of the veil, a*k; softness: disc of the background, px; both float32 (height, width).
    wanted: the background frame's noise.
    """
    if not settings.match:
        return plate
    cleared = np.zeros(plate.touched.shape, np.bool_) if plate.cleared is None else plate.cleared
    pixels = plate.pixels.copy()

    def grain_part(part: tuple[int, tuple[Window, Window]]) -> None:
        number, (own, near) = part
        touched = plate.touched[own]
        if not touched.any():
            return
        fine = (plate.pixels[near] - gaussian(plate.pixels[near], 1.5))[inside(own, near)]
        soft = np.clip((softness[own] - _SOFT_FROM_PX) / _SOFT_FROM_PX, 0, 1)
        scale = np.where(cleared[own], 1, 1 - soft * np.clip(coverage[own], 0, 0.95))
        scaled = plate.pixels[own] + fine * (scale - 1)[..., None]
        present = np.where(touched & ~cleared[own], plate.divided[own], 1).astype(np.float32)
        grained = add_grain(scaled, wanted, present, seed=(settings.seed, number))
        pixels[own] = np.where(touched[..., None], np.maximum(grained, 0), plate.pixels[own])

    each_part(grain_part, enumerate(tiles(plate.touched.shape, _TILE, _MARGIN)))
    return replace(plate, pixels=pixels)


def color_with_grain(
    color: Float, alpha: Float, present: Sigma, wanted: Sigma, settings: GrainSettings
) -> Float:
    """Return the foreground's colour with the background frame's grain.

    present, wanted: noise of the aligned foreground frame and of the background frame.
    """
    if not settings.match:
        return color
    result = np.zeros_like(color)

    def grain_part(part: tuple[int, tuple[Window, Window]]) -> None:
        number, (own, near) = part
        there = alpha[own] > 0
        if not there.any():
            return
        smooth = reduce_grain(color[near], present)
        left = _share_left(color[near], smooth, present, wanted)
        middle = inside(own, near)
        seed = (settings.seed + 1, number)
        grained = add_grain(smooth[middle], wanted, left[middle], seed=seed)
        result[own] = np.maximum(grained, 0) * there[..., None]

    each_part(grain_part, enumerate(tiles(alpha.shape, _TILE, _MARGIN)))
    return result


def _share_left(before: Float, after: Float, present: Sigma, wanted: Sigma) -> Float:
    """Return the deviation that shrinkage left of the noise, as a share of the wanted one."""
    removed = gaussian(channel_mean(np.square(before - after)), 3.0)
    base = gaussian(before, 2.0)
    there = channel_mean(np.square(present(base)))
    aim = channel_mean(np.square(wanted(base)))
    left = np.maximum(there - removed, 0)
    return np.asarray(np.sqrt(np.clip(left / (aim + 1e-12), 0, 1)), np.float32)
