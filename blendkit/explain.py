"""Explains the background frame in layers: sharp foreground, its blur, and what lies behind.

The matte says what is in front.  From it follow the boughs' discs, the veil that they leave, and
the plate; and these in turn tell whether the matte can be right.
"""

from dataclasses import dataclass

import cv2
import numpy as np

from blendkit.blending import Backdrop, BoughGroup, Laid, Plate, Veil
from blendkit.blending.aperture import background_at, foreground_at
from blendkit.blending.clear import shown_behind, with_clear_frame
from blendkit.blending.plate import make_plate
from blendkit.blending.proof import VeilTestimony, keep_likely, veil_testimony
from blendkit.blending.rerender import rerendered
from blendkit.blending.sketch import Reduced, draw_sketch, reduced
from blendkit.blending.veil import make_veil
from blendkit.filters.resample import reduce_by
from blendkit.frame import Bool, Capture, Float
from blendkit.hints import Hints
from blendkit.masks import Matte
from blendkit.masks.colors import foreground_color
from blendkit.masks.plate_term import hold_to_plate
from blendkit.masks.second_look import second_look
from blendkit.masks.zones import unplaced
from blendkit.settings import MergeSettings

_WORTH_ANOTHER = 0.005
"""Share of the matte that must have been dropped for discs and plate to be found anew."""


@dataclass(frozen=True, eq=False, slots=True)
class View:
    """One explanation of the background frame: this foreground, blurred so.

    coverage: of the veil, a*k, float32 (height, width).
    unplaced: bool (height, width), where the frames do not agree on what it is.
    """

    matte: Matte
    groups: tuple[BoughGroup, ...]
    coverage: Float
    unplaced: Bool


def explained(
    laid: Laid,
    proposed: Float,
    region: Bool,
    grain: float,
    hints: Hints,
    settings: MergeSettings,
) -> tuple[View, Plate]:
    """Explain the background frame, and let the explanation correct the matte.

    What leaves no veil is dropped; the rest is held to S = aF + (1-a)P.

    Parameters
    ----------
    laid : Laid
    proposed : ndarray
        The matte's coverage as it was found, float32 (height, width).
    region : ndarray
        bool (height, width), where the matte was searched.
    grain : float
        Noise of the foreground frame at middle grey, linear standard deviation.
    hints : Hints
        A matte that is given, not proposed, stays as it is; what strokes touch needs less
        of a chance to be kept.
    settings : MergeSettings

    Returns
    -------
    View, Plate
        What stands in front and how it veils, and what lies behind.
    """
    alpha, color = proposed, foreground_color(laid.aligned, proposed)
    small = reduced(laid)
    sketch = draw_sketch(small, alpha, color, settings.discs)
    asked = bool(sketch.groups) and hints.matte is None
    if asked:
        said = veil_testimony(sketch.evidence, sketch.groups, laid.softness)
        painted = hints.foreground_mask is not None
        chance = _second_look(small, proposed, said, grain, painted=painted)
        kept = keep_likely(proposed, chance, marked=hints.front_strokes)
        if float((proposed - kept).sum()) > _WORTH_ANOTHER * float(proposed.sum()):
            alpha = kept
            sketch = draw_sketch(small, alpha, color, settings.discs)
        del said, chance, kept
    del small
    veil = make_veil(alpha, color, sketch.groups)
    plate = _plate(laid, veil, _behind(laid, alpha, veil), settings)
    if asked and sketch.groups:
        # A disc of light on the plate would pass for a dark bough in front of it.
        told = region & ~laid.lights
        alpha = hold_to_plate(laid.aligned, plate.at, alpha, color, told, grain)
    open_ = unplaced(proposed, alpha) if asked else np.zeros_like(region)
    searched = alpha > 0 if hints.matte is not None else region
    return View(Matte(alpha, color, searched), sketch.groups, veil.coverage, open_), plate


def _second_look(
    small: Reduced, alpha: Float, said: VeilTestimony, grain: float, *, painted: bool
) -> Float:
    """Return how likely each place of a matte stands in front."""
    matte = reduce_by(alpha, small.factor)
    grain /= small.factor
    return second_look(small.background, small.aligned, matte, said.parts, grain, painted=painted)


def _behind(laid: Laid, alpha: Float, veil: Veil) -> Backdrop:
    """Return what lies behind, as far as the foreground frame shows it, and how well it does."""
    keep = (1 - alpha) * laid.footprint
    where = _around(veil.coverage > 0)
    guess = rerendered(laid.aligned, keep, laid.softness, where=where, patches=laid.missing)
    return shown_behind(guess, laid.clear)


def _around(region: Bool) -> Bool:
    """Return a region with what lies near, where both plates are compared."""
    factor = max(max(region.shape) // 300, 1)
    small = reduce_by(region.astype(np.float32), factor) > 0
    reach = 2 * (max(small.shape) // 30) + 1
    wide = cv2.dilate(small.astype(np.uint8), np.ones((reach, reach), np.uint8))
    size = (region.shape[1], region.shape[0])
    return np.asarray(cv2.resize(wide, size, interpolation=cv2.INTER_NEAREST) > 0, np.bool_)


def _plate(laid: Laid, veil: Veil, behind: Backdrop, settings: MergeSettings) -> Plate:
    plate = make_plate(laid.background, veil, behind, laid.sitter, settings.plate, full=laid.full)
    return with_clear_frame(plate, laid.clear, veil, laid.sitter)


def at_f_numbers(
    laid: Laid,
    view: View,
    plate: Plate,
    captures: tuple[Capture, Capture],
    own_disc_px: float,
    gap_px: float,
    settings: MergeSettings,
) -> tuple[Matte, Plate]:
    """Return matte and plate at the f-numbers asked for, as they are where none is."""
    matte, aperture = view.matte, settings.aperture
    wide, narrow = captures[0].f_number or 1, captures[1].f_number or 1
    if aperture.background_f is not None:
        plate = background_at(
            plate,
            laid.aligned,
            (1 - matte.alpha) * laid.footprint,
            laid.softness,
            laid.sitter,
            f_numbers=(wide, narrow, aperture.background_f),
            gap_px=gap_px,
            patches=laid.missing,
        )
    if aperture.foreground_f is not None:
        softer = foreground_at(
            matte.alpha,
            matte.color,
            view.groups,
            own_disc_px,
            f_numbers=(wide, aperture.foreground_f),
        )
        matte = Matte(*softer, matte.searched)
    return matte, plate
