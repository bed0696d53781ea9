"""Applies a light: gain, fall-off, flare, tone curve and smooth local difference, tile by tile."""

import numpy as np

from blendkit.alignment import Light
from blendkit.alignment.cells import Places, places_in, radial_terms
from blendkit.alignment.smooth_local import local_terms
from blendkit.alignment.tone import rendered, straightened
from blendkit.filters.threads import each_part
from blendkit.filters.tiles import Window, tiles
from blendkit.frame import Float

_TILE = 512


def apply_light(pixels: Float, light: Light) -> Float:
    """Return the foreground frame, on the background grid, in the background frame's light.

    pixels: float32 (height, width, 3), linear; result: the same shape.
    """
    lit = np.empty_like(pixels)

    def apply(part: tuple[Window, Window]) -> None:
        own, _ = part
        factor = np.exp2(_ev_over_frame(pixels.shape, light, places_in(own)))[..., None]
        lit[own] = _in_light(pixels[own], factor, light)

    each_part(apply, tiles(pixels.shape, _TILE, 0))
    return lit


def _in_light(pixels: Float, over_frame: Float, light: Light) -> Float:
    """Return a part of a frame in another light; over_frame: factor of its places."""
    factor = np.exp2(np.asarray(light.gain_ev, np.float32)) * over_frame
    clean = pixels
    if any(light.flare):
        clean = np.maximum(pixels - np.asarray(light.flare, np.float32), 0)
    lit = rendered(straightened(clean, light.curve) * factor, light.curve)
    return np.asarray(lit, np.float32)


def typical_gain(light: Light) -> tuple[float, ...]:
    """Return the factor per channel that `apply_light` comes to on average over the frame."""
    over_frame = float(_ev_over_frame((60, 90), light).mean())
    return tuple(float(2 ** (ev + over_frame)) for ev in light.gain_ev)


def _ev_over_frame(shape: tuple[int, ...], light: Light, places: Places | None = None) -> Float:
    """Return the EV to add that depend on the place only, float32 (height, width)."""
    total = radial_terms(shape, places) @ np.array(light.falloff_ev, np.float32)
    if any(light.local_ev):
        total = total + local_terms(shape, places) @ np.array(light.local_ev, np.float32)
    return np.asarray(total, np.float32)
