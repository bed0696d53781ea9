"""The plate: veil divided out where that is well-posed, re-rendered elsewhere, joined by trust.

Division keeps the background frame's own detail and grain but multiplies every error by
1/(1 - a*k).  Re-rendering is smooth and safe but only as right as the disc map.  The join weighs
them like two measurements of one value, by the variance each of them is expected to have.
"""

from dataclasses import replace

import cv2
import numpy as np

from blendkit.blending import Backdrop, Plate, Veil
from blendkit.blending.slow_offset import SlowOffset
from blendkit.filters.bands import gaussian
from blendkit.filters.channels import channel_mean
from blendkit.filters.threads import each_part
from blendkit.filters.tiles import Window
from blendkit.frame import Bool, Float
from blendkit.memory import unwritten
from blendkit.settings import PlateSettings

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
_TONE, _LEAST_TONE_PX, _TONE_FROM_PX, _SPREAD_FAR = 0.3, 3.0, 3.0, 1 / 75
"""Error of slow tones over that of single pixels behind; the narrowest surroundings to compare, the
disc from which it is done in full, and the share of the long side that is too large a disc."""
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
    offset = SlowOffset(share.shape, max(share.shape) / _OFFSET_SHARE)
    tone, known = _Tone(sharpness, touched, settings), behind.known

    def trust_part(own: Window) -> None:
        if touched[own].any() or known[own].any():
            (guess, mass), veiled = behind.at(own), veil.at(own)
            divided = _divided(background[own], *veiled, settings)
            tone.note(own, divided - guess, veiled[0], mass * known[own])
            mass = mass * _counted(sharpness, own)
            share[own] = _trust_in_division(*veiled, guess, mass, settings)
            share[own] *= 1 if rim is None else 1 - rim[own]
            weight = np.square(share[own] * np.maximum(mass, 0) * known[own])
            offset.note(own, divided - guess, weight)

    each_part(trust_part, offset.tiles(tone.factor))
    offset.settle()
    tone.settle()
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
            tone.match(joined, own, (coverage, veiled), (shown, mass))
            seen = np.clip(mass / _WELL_SEEN, 0, 1)
            seen *= 1 if sharpness is None else sharpness[own] <= 0
            unveiled = background[own] / _clear(coverage, settings)[..., None]
            _hold(joined, seen[..., None] * (_LEAST_SHOWN * shown - _SLACK), unveiled)
            if rim is not None:
                _brightened(joined, np.maximum(divided, background[own]), rim[own])
            joined += sitter[own][..., None] * (background[own] - joined)
            np.copyto(beneath[own], joined, where=here[..., None])

    each_part(join_part, offset.tiles(tone.factor))
    return Plate(background, beneath, share, touched)


def _counted(sharpness: Float | None, part: Window) -> Float:
    """Return how much of what is shown counts: next to nothing where it was spread."""
    if sharpness is None:
        return np.ones((1, 1), np.float32)
    return np.where(sharpness[part] > 0, np.float32(_LACKING), np.float32(1))


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


class _Tone:
    """The slow tones of what the foreground frame spreads a little, as it shows them.

    There only the divided plate has detail.  But a veil that is taken for more than it is leaves no
    red and green of a blue dress, and blurred by as little as the foreground frame blurs her, both
    frames show the same.  A background that it spreads far is another matter: as slow as that
    there is nothing to match.
    """

    def __init__(self, sharpness: Float | None, touched: Bool, settings: PlateSettings) -> None:
        self._sharpness, self._settings, self._offset = sharpness, settings, None
        if sharpness is None:
            return
        sharp = (sharpness > 0) & touched
        disc_px = float(np.median(sharpness[sharp])) if sharp.any() else 0.0
        if 0 < disc_px < _SPREAD_FAR * max(sharpness.shape):
            self._offset = SlowOffset(sharpness.shape, max(disc_px, _LEAST_TONE_PX))
            self._settings = replace(settings, rerender_error=_TONE * settings.rerender_error)

    @property
    def factor(self) -> int:
        """Return by how much it is reduced."""
        return self._offset.factor if self._offset is not None else 1

    def note(self, part: Window, difference: Float, coverage: Float, mass: Float) -> None:
        """Note by how much the divided plate is lighter than what is shown, in a tile."""
        if self._offset is not None and self._sharpness is not None:
            seen = np.clip(mass, 0, 1) * np.square(_clear(coverage, self._settings))
            self._offset.note(part, difference, seen * (self._sharpness[part] > 0))

    def settle(self) -> None:
        """Say that all was noted."""
        if self._offset is not None:
            self._offset.settle()

    def match(
        self, plate: Float, part: Window, veil: tuple[Float, Float], shown: tuple[Float, Float]
    ) -> None:
        """Bring the slow tones of a tile, in place, to what is shown, as far as that is surer.

        veil: a*k and (aF)*k; shown: pixels and mass of what lies behind.
        """
        if self._offset is None or self._sharpness is None or not self._sharpness[part].any():
            return
        surer = 1 - _trust_in_division(*veil, *shown, self._settings)
        surer *= np.clip(self._sharpness[part] / _TONE_FROM_PX, 0, 1)
        plate -= surer[..., None] * self._offset.at(part)
        np.maximum(plate, 0, out=plate)
