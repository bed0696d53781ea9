"""Lays the picture together, a F + (1 - a) B, and keeps account of where each pixel came from."""

from collections.abc import Callable

import numpy as np

from blendkit.blending import Plate
from blendkit.filters.threads import each_part
from blendkit.filters.tiles import Window, tiles
from blendkit.frame import Float, Label, Source

_TILE = 512
_SOLID = 0.99
_NONE = 1e-3


def compose(
    background: Float, plate: Plate, alpha: Float, color_at: Callable[[Window], Float]
) -> Float:
    """Return the composite, float32 (height, width, 3), linear.

    Pixels without foreground and without veil are the background frame's own, to the last bit.

    color_at: gives the foreground's straight colour, float32 (height, width, 3), of a part; asked
    only where there is foreground.
    """
    pixels = background.copy()

    def mix(part: tuple[Window, Window]) -> None:
        own, _ = part
        if plate.touched[own].any():
            pixels[own] = plate.at(own)
        front = alpha[own] > 0
        if front.any():
            share = alpha[own][..., None]
            mixed = share * color_at(own) + (1 - share) * pixels[own]
            np.copyto(pixels[own], mixed, where=front[..., None])

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
