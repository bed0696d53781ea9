"""Brings plate and foreground to the background frame's grain."""

from collections.abc import Callable
from itertools import groupby

import numpy as np

from blendkit.blending import Plate
from blendkit.blending.grain import Noise, add_grain, reduce_grain
from blendkit.filters.bands import gaussian
from blendkit.filters.channels import channel_mean
from blendkit.filters.threads import each_part
from blendkit.filters.tiles import Window, inside, tiles, with_margin
from blendkit.frame import Float
from blendkit.masks import Matte
from blendkit.settings import GrainSettings

_SOFT_FROM_PX = 3.0
_FINE_PX, _FINE_MARGIN = 1.5, 8
_TILE, _MARGIN = 512, 24
_LEFT_BY_DISC = 2 / np.pi**0.5
"""Of white noise's deviation a mean over a disc leaves this over its diameter."""


def grain_plate(
    plate: Plate, coverage: Float, softness: Float, wanted: Noise, settings: GrainSettings
) -> None:
    """Bring the plate to the background frame's grain, in place.

    Division has multiplied the grain by 1/(1 - a*k): where the background is soft, all of its fine
    band is grain, and that band is scaled back.  Re-rendering has none, and gets it.

    A clear frame's light is taken with its own grain.

    coverage: of the veil, a*k; softness: disc of the background, px; both float32 (height, width).
    wanted: the background frame's noise.
    """
    if not settings.match:
        return
    cleared = np.zeros(plate.touched.shape, np.bool_) if plate.cleared is None else plate.cleared
    before = _BeforeChange(plate.beneath)

    def grain_part(part: tuple[int, tuple[Window, Window]]) -> None:
        number, (own, near) = part
        touched = plate.touched[own]
        if not touched.any():
            return
        seen = plate.touched[near][..., None]
        around = np.where(seen, before.at(near), plate.background[near])
        middle = around[inside(own, near)]
        fine = middle - gaussian(around, _FINE_PX)[inside(own, near)]
        soft = np.clip((softness[own] - _SOFT_FROM_PX) / _SOFT_FROM_PX, 0, 1)
        scale = np.where(cleared[own], 1, 1 - soft * np.clip(coverage[own], 0, 0.95))
        scaled = middle + fine * (scale - 1)[..., None]
        present = np.where(cleared[own], np.float32(1), plate.divided[own])
        grained = add_grain(scaled, wanted, present, seed=(settings.seed, number))
        np.copyto(plate.beneath[own], np.maximum(grained, 0), where=touched[..., None])

    numbered = enumerate(tiles(plate.touched.shape, _TILE, _FINE_MARGIN))
    for rows, parts in groupby(numbered, key=lambda part: part[1][1][0]):
        before.keep(rows)
        each_part(grain_part, parts)


def grain_blurred(pixels: Float, disc_px: Float, wanted: Noise, settings: GrainSettings) -> None:
    """Give a picture that was blurred once more the background frame's grain, in place.

    disc_px: of that blur, float32 (height, width); 0 where there was none.
    """
    if not settings.match:
        return

    def grain_part(part: tuple[Window, Window]) -> None:
        own, _ = part
        if (disc_px[own] > 0).any():
            present = np.minimum(1, _LEFT_BY_DISC / np.maximum(disc_px[own], _LEFT_BY_DISC))
            seed = (settings.seed + 2, own[0].start, own[1].start)
            pixels[own] = np.maximum(add_grain(pixels[own], wanted, present, seed=seed), 0)

    each_part(grain_part, tiles(disc_px.shape, _TILE, 0))


class _BeforeChange:
    """Pixels as they were before a row of tiles is changed in place, with a margin.

    A tile looks at its neighbours; one row of tiles is copied, not the whole picture.
    """

    def __init__(self, pixels: Float) -> None:
        self._pixels = pixels
        self._rows, self._kept = slice(0, 0), pixels[:0]

    def keep(self, rows: slice) -> None:
        """Keep these rows; what the last ones hold of them has been changed since."""
        kept = self._pixels[rows].copy()
        known = max(self._rows.stop - rows.start, 0)
        kept[:known] = self._kept[len(self._kept) - known :]
        self._rows, self._kept = rows, kept

    def at(self, part: Window) -> Float:
        """Return a part of the rows kept last."""
        rows, columns = part
        top = self._rows.start
        return self._kept[rows.start - top : rows.stop - top, columns]


def color_with_grain(
    matte: Matte, present: Noise, wanted: Noise, settings: GrainSettings, *, alone: bool = False
) -> Callable[[Window], Float]:
    """Return what gives the foreground's colour with the background frame's grain, part by part.

    present, wanted: noise of the foreground frame as taken and of the background frame.
    alone: the foreground fills the picture, so there is nothing around it to match.
    """
    color = matte.color
    if not settings.match or alone:
        return color.__getitem__

    def grained(own: Window) -> Float:
        near = with_margin(own, _MARGIN, matte.alpha.shape)
        smooth, share = reduce_grain(color[near], present)
        left = _deviation_left(smooth, share, present, wanted)
        middle = inside(own, near)
        seed = (settings.seed + 1, own[0].start, own[1].start)
        grained = add_grain(smooth[middle], wanted, left[middle], seed=seed)
        return np.asarray(np.maximum(grained, 0), np.float32)

    return grained


def _deviation_left(reduced: Float, share: Float, present: Noise, wanted: Noise) -> Float:
    """Return the deviation of noise that is left, as a share of the wanted one, 0 to 1.

    share: of the variance of the noise present.
    """
    there, aim = (channel_mean(np.square(noise.sigma(reduced))) for noise in (present, wanted))
    return np.asarray(np.sqrt(np.clip(share * there / (aim + 1e-12), 0, 1)), np.float32)
