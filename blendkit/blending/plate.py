"""The plate: veil divided out where that is well-posed, re-rendered elsewhere, joined by trust.

Division keeps the background frame's own detail and grain but multiplies every error by
1/(1 - a*k).  Re-rendering is smooth and safe but only as right as the disc map.  The join weighs
them like two measurements of one value, by the variance each of them is expected to have.
"""

from collections.abc import Iterator

import cv2
import numpy as np

from blendkit.blending import Backdrop, Plate, Veil
from blendkit.filters.bands import gaussian, narrowed_sigma_px, slow_factor
from blendkit.filters.channels import channel_mean
from blendkit.filters.resample import enlarged_part, put_reduced
from blendkit.filters.threads import each_part
from blendkit.filters.tiles import Window, tile_side, tiles
from blendkit.frame import Bool, Float
from blendkit.memory import unwritten
from blendkit.settings import PlateSettings

_TILE = 384
_OFFSET_SHARE = 60
_KEPT = 0.99
_LEAST_MASS, _LACKING = 0.05, 1e-3
"""What a re-rendered place rests on at least, and the share of it that counts where the foreground
frame is far softer there, as in a focus pair: as little as can be."""
_LEAST_SHOWN, _SLACK, _WELL_SEEN = 0.6, 0.004, 0.1
"""Share of what the foreground frame shows behind, less some noise, that a plate holds at least in
each channel, fading below what a place must rest on: both frames see one background, and a veil
taken for more than it is would take all green out of the sky between leaves.  Not where the
background frame is the sharper one: its shadows are deeper."""
_UNTOUCHED = 1e-4
"""Veil coverage that cannot move a 16-bit code by more than one at full contrast."""


def make_plate(
    background: Float,
    veil: Veil,
    behind: Backdrop,
    sitter: Float,
    settings: PlateSettings,
    *,
    full: Bool | None = None,
    sharpness: Float | None = None,
) -> Plate:
    """Join the divided and the re-rendered plate.

    Parameters
    ----------
    background : ndarray
        The background frame W, float32 (height, width, 3), linear.
    veil : Veil
        a*k and (aF)*k.
    behind : Backdrop
        Re-rendered, or shown by a clear frame.
    sitter : ndarray
        float32 (height, width), 1 where the background frame stays whatever veils it.
    full : ndarray, optional
        bool (height, width), where the background frame held no more light and the foreground frame
        did: its true light is known from there only.
    sharpness : ndarray, optional
        Disc by which the background frame is the sharper one, px, float32 (height, width), else 0:
        there what is re-rendered lacks all detail.
    settings : PlateSettings
        veil_error, rerender_error, least_clear.

    Returns
    -------
    Plate
    """
    rim = None if full is None or not full.any() else _soft_rim(full)
    touched = (veil.coverage > _UNTOUCHED) & (sitter < _KEPT)
    share = unwritten(veil.coverage.shape)
    offset = _SlowOffset(share.shape)

    known = behind.known

    def trust_part(own: Window) -> None:
        if touched[own].any() or known[own].any():
            (guess, mass), veiled = behind.at(own), veil.at(own)
            if sharpness is not None:
                mass = np.where(sharpness[own] > 0, mass * _LACKING, mass)
            share[own] = _trust_in_division(*veiled, guess, mass, settings)
            share[own] *= 1 if rim is None else 1 - rim[own]
            divided = _divided(background[own], *veiled, settings)
            offset.note(own, divided - guess, share[own] * np.maximum(mass, 0) * known[own])

    each_part(trust_part, offset.tiles())
    offset.settle()
    beneath = unwritten(background.shape)

    def join_part(own: Window) -> None:
        here = touched[own]
        if here.any():
            trust = share[own][..., None]
            shown, mass = behind.at(own)
            guess = np.maximum(shown + offset.at(own), 0)
            coverage, veiled = veil.at(own)
            divided = _divided(background[own], coverage, veiled, settings)
            joined = trust * divided + (1 - trust) * guess
            seen = np.clip(mass / _WELL_SEEN, 0, 1)
            if sharpness is not None:
                seen *= sharpness[own] <= 0
            unveiled = background[own] / _clear(coverage, settings)[..., None]
            _hold(joined, seen[..., None] * (_LEAST_SHOWN * shown - _SLACK), unveiled)
            if rim is not None:
                _brightened(joined, np.maximum(divided, background[own]), rim[own])
            joined += sitter[own][..., None] * (background[own] - joined)
            np.copyto(beneath[own], joined, where=here[..., None])

    each_part(join_part, offset.tiles())
    return Plate(background, beneath, share, touched)


def _divided(background: Float, coverage: Float, veil: Float, settings: PlateSettings) -> Float:
    """Return the divided plate of a part; coverage, veil: a*k and (aF)*k there."""
    light = (background - veil) / _clear(coverage, settings)[..., None]
    return np.asarray(np.maximum(light, 0), np.float32)


def _clear(coverage: Float, settings: PlateSettings) -> Float:
    """Return the share of the background's light that came through, as far as it is divided by."""
    return np.maximum(1 - coverage, settings.least_clear)


def _hold(plate: Float, least: Float, unveiled: Float) -> None:
    """Raise a plate, in place, to what the other frame shows, but never above `unveiled`.

    unveiled: the plate had the veil no light of its own.  However much was taken for it, it did not
    hide more: without this bound a dark sleeve beside the sky was raised at a coverage of 0.01.
    """
    np.maximum(plate, np.minimum(least, unveiled), out=plate)


def _brightened(plate: Float, least: Float, rim: Float) -> None:
    """Raise a plate, in place, to what the background frame was full of at least.

    What is full through a veil is no darker without it, and the divided plate is then too dark if
    anything.  A lamp's disc that was re-rendered from a clipped dot would lie there as a dark ring.
    """
    plate += rim[..., None] * np.maximum(least - plate, 0)


def _soft_rim(full: Bool) -> Float:
    """Return 1 where a frame was full, falling to 0 a few px beyond."""
    dilated = cv2.dilate(full.astype(np.uint8), np.ones((3, 3), np.uint8))
    wide = np.asarray(dilated, np.float32)
    return np.asarray(np.maximum(wide, gaussian(wide, 1.5)), np.float32)


def _trust_in_division(
    coverage: Float, veil: Float, guessed: Float, mass: Float, settings: PlateSettings
) -> Float:
    """Return the share of division, from the two expected variances, float32, of a part."""
    clear = _clear(coverage, settings)
    scale = channel_mean(guessed) + 0.02
    # A veil that is wrong by a share of itself leaves that share of the contrast it causes.
    contrast = channel_mean(np.abs(veil - coverage[..., None] * guessed))
    divided = (settings.veil_error * (contrast + 0.1 * coverage * scale) / clear) ** 2
    guess = (settings.rerender_error * scale / np.sqrt(np.clip(mass, _LEAST_MASS, 1))) ** 2
    trust = guess / (guess + divided)
    # Past the point where almost nothing of the background came through, division is an echo.
    fade = np.clip((clear - settings.least_clear) / settings.least_clear, 0, 1)
    return np.asarray(trust * fade, np.float32)


class _SlowOffset:
    """The slow difference of the two plates, so that joining them leaves no step.

    Noted tile by tile at reduced size, where its wide Gaussian is exact enough.
    """

    def __init__(self, shape: tuple[int, ...]) -> None:
        self._shape, self._sigma_px = shape, max(shape) / _OFFSET_SHARE
        self._factor = slow_factor(self._sigma_px, min(shape))
        small = [-(-n // self._factor) for n in shape]
        self._sums = np.zeros((*small, 4), np.float32)

    def tiles(self) -> Iterator[Window]:
        """Yield tiles whose corners lie on whole cells."""
        return (own for own, _ in tiles(self._shape, tile_side(_TILE, self._factor), 0))

    def note(self, part: Window, difference: Float, trust: Float) -> None:
        """Note the difference of a tile, (height, width, 3), and how far to trust it."""
        weight = np.square(trust)[..., None]
        put_reduced(self._sums, np.dstack([difference * weight, weight]), part, self._factor)

    def settle(self) -> None:
        """Blur what was noted."""
        wide = gaussian(self._sums, narrowed_sigma_px(self._sigma_px, self._factor))
        self._sums = np.asarray(wide[..., :3] / (wide[..., 3:] + 0.05), np.float32)

    def at(self, part: Window) -> Float:
        """Return the offset of a tile, float32 (height, width, 3)."""
        return enlarged_part(self._sums, self._factor, part)
