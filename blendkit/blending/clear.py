"""Takes the plate from a clear frame: one more exposure with the foreground held aside.

What it shows needs no model, so it replaces division and re-rendering wherever the veil lies; away
from the veil the background frame stays as it is.
"""

from dataclasses import dataclass, replace

import numpy as np

from blendkit.blending import Backdrop, Plate, Veil
from blendkit.filters.tiles import Window
from blendkit.frame import Bool, Float, Warped

_FULL_VEIL = 0.02
"""Coverage from which the clear frame alone gives the plate; below it fades in from nothing."""
_NO_VEIL = 1e-4


@dataclass(frozen=True, eq=False, slots=True)
class _Shown:
    """The clear frame where it reaches, a guess elsewhere."""

    guess: Backdrop
    clear: Warped

    @property
    def known(self) -> Bool:
        return np.asarray(self.guess.known | self.clear.footprint, np.bool_)

    def at(self, part: Window) -> tuple[Float, Float]:
        pixels, mass = self.guess.at(part)
        there = self.clear.footprint[part]
        shown = np.where(there[..., None], self.clear.pixels[part], pixels)
        return np.asarray(shown, np.float32), np.where(there, 1, mass).astype(np.float32)


def shown_behind(guess: Backdrop, clear: Warped | None) -> Backdrop:
    """Return what lies behind the foreground: the clear frame where it reaches, a guess elsewhere.

    clear: on the background grid, in its light.
    """
    return guess if clear is None else _Shown(guess, clear)


def with_clear_frame(plate: Plate, clear: Warped | None, veil: Veil, sitter: Float) -> Plate:
    """Lay a clear frame into the plate.

    Parameters
    ----------
    plate : Plate
    clear : Warped or None
        The clear frame on the background grid, in the background frame's light.
    veil : Veil
        Where the clear frame is needed.
    sitter : ndarray
        float32 (height, width), 1 where the background frame stays whatever veils it.

    Returns
    -------
    Plate
        The plate as it was where there is no clear frame, no veil, or the sitter.
    """
    if clear is None:
        return plate
    share = np.clip((veil.coverage - _NO_VEIL) / (_FULL_VEIL - _NO_VEIL), 0, 1)
    share = (share * (1 - sitter) * clear.footprint * plate.touched).astype(np.float32)
    beneath = plate.beneath + share[..., None] * (clear.pixels - plate.beneath)
    return replace(plate, beneath=np.asarray(beneath, np.float32), cleared=share > 0.5)
