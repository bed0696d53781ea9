"""Lays the picture together, a F + (1 - a) B, and keeps account of where each pixel came from."""

import numpy as np

from blendkit.blending import Plate
from blendkit.filters.threads import each_part
from blendkit.filters.tiles import Window, tiles
from blendkit.frame import Float, Label, Source

_TILE = 384
_SOLID = 0.99
_NONE = 1e-3


def compose(background: Float, plate: Plate, alpha: Float, color: Float) -> Float:
    """Return the composite, float32 (height, width, 3), linear.

    Pixels without foreground and without veil are the background frame's own, to the last bit.
    """
    pixels = background.copy()

    def mix(part: tuple[Window, Window]) -> None:
        own, _ = part
        changed = (alpha[own] > 0) | plate.touched[own]
        if changed.any():
            share = alpha[own][..., None]
            mixed = share * color[own] + (1 - share) * plate.pixels[own]
            pixels[own] = np.where(changed[..., None], mixed, background[own])

    each_part(mix, tiles(alpha.shape, _TILE, 0))
    return pixels


def source_map(plate: Plate, alpha: Float) -> Label:
    """Return the source of every pixel, uint8 (height, width), values of `Source`."""
    sources = np.full(alpha.shape, Source.BACKGROUND_FRAME, np.uint8)
    sources[plate.touched] = Source.PLATE_DIVIDED
    sources[plate.touched & (plate.divided < 0.5)] = Source.PLATE_RERENDERED
    if plate.cleared is not None:
        sources[plate.touched & plate.cleared] = Source.CLEAR_FRAME
    sources[alpha > _NONE] = Source.MATTE_EDGE
    sources[alpha > _SOLID] = Source.FOREGROUND_FRAME
    return sources
