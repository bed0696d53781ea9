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
from blendkit.blending.disc_refine import refined_groups
from blendkit.blending.plate import make_plate
from blendkit.blending.rerender import rerendered
from blendkit.blending.sketch import Reduced, draw_sketch, judged_at, reduced
from blendkit.blending.veil import make_veil
from blendkit.filters.resample import (
    any_in_cells,
    enlarge_mask,
    reduce_by,
    reduce_parts,
    share_in_cells,
)
from blendkit.frame import Bool, Capture, Float
from blendkit.hints import Hints
from blendkit.looks import Matted, looked_again
from blendkit.masks import Matte
from blendkit.masks.colors import foreground_color
from blendkit.masks.plate_term import hold_to_plate
from blendkit.masks.third_look import carried_over
from blendkit.masks.zones import unplaced
from blendkit.midground import LensPair
from blendkit.settings import MergeSettings

_HALF = 0.5


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
    color = foreground_color(laid.aligned, proposed, color_blur_px=laid.color_blur_px)
    small = reduced(laid, judged_at(laid))
    matted = Matted(proposed, color, draw_sketch(small, proposed, color, settings.discs))
    del color
    asked = bool(matted.sketch.groups) and hints.matte is None
    if asked and not _softly_painted(laid, hints):
        matted = looked_again(laid, small, matted, region, grain, hints, settings)
    alpha, color = matted.alpha, matted.color
    groups = _refined(small, matted, settings)
    del small, matted
    veil = make_veil(alpha, color, groups)
    plate = _plate(laid, veil, _behind(laid, alpha, veil), settings)
    if asked and groups:
        # A disc of light on the plate would pass for a dark bough in front of it.
        told = region & ~laid.lights
        alpha = _held(laid, plate, alpha, color, told, grain)
    open_ = unplaced(proposed, alpha) if asked else np.zeros_like(region)
    searched = alpha > 0 if hints.matte is not None else region
    return View(Matte(alpha, color, searched), groups, veil.coverage, open_), plate


def _softly_painted(laid: Laid, hints: Hints) -> bool:
    """Return whether somebody painted over foreground that is soft in its own frame.

    The second look has seen none, and drops the thin twigs of it.
    """
    return laid.factor > 1 and hints.foreground_mask is not None


def _held(
    laid: Laid, plate: Plate, alpha: Float, color: Float, region: Bool, grain: float
) -> Float:
    """Return the matte held to the plate where the boughs are sharp: finer, grain would tear it."""
    factor = laid.factor
    if factor == 1:
        return hold_to_plate(laid.aligned, plate.at, alpha, color, region, grain)
    before = reduce_by(alpha, factor)
    after = hold_to_plate(
        reduce_by(laid.aligned, factor),
        reduce_parts(plate.at, alpha.shape, factor).__getitem__,
        before,
        reduce_by(color, factor),
        share_in_cells(region, factor) > _HALF,
        grain / factor,
    )
    return carried_over(alpha, before, after, factor)


def _refined(small: Reduced, matted: Matted, settings: MergeSettings) -> tuple[BoughGroup, ...]:
    """Return the groups found, their discs refined unless the user knows the disc."""
    groups = matted.sketch.groups
    if settings.discs.disc_px is not None or not groups:
        return groups
    alpha, color = (reduce_by(v, small.factor) for v in (matted.alpha, matted.color))
    return refined_groups(small.background, alpha, color, small.unsure, groups, small.factor)


def _behind(laid: Laid, alpha: Float, veil: Veil) -> Backdrop:
    """Return what lies behind, as far as the foreground frame shows it, and how well it does."""
    keep = (1 - alpha) * laid.footprint
    where = _around(veil.coverage > 0)
    guess = rerendered(laid.aligned, keep, laid.softness, where=where, patches=laid.missing)
    return shown_behind(guess, laid.clear)


def _around(region: Bool) -> Bool:
    """Return a region with what lies near, where both plates are compared."""
    factor = max(max(region.shape) // 300, 1)
    small = any_in_cells(region, factor)
    reach = 2 * (max(small.shape) // 30) + 1
    wide = cv2.dilate(small.astype(np.uint8), np.ones((reach, reach), np.uint8)) > 0
    return enlarge_mask(np.asarray(wide, np.bool_), factor, (region.shape[1], region.shape[0]))


def _plate(laid: Laid, veil: Veil, behind: Backdrop, settings: MergeSettings) -> Plate:
    plate = make_plate(
        laid.background,
        veil,
        behind,
        laid.kept,
        settings.plate,
        full=laid.full,
        sharpness=laid.sharpness,
    )
    return with_clear_frame(plate, laid.clear, veil, laid.kept)


def at_f_numbers(
    laid: Laid,
    view: View,
    plate: Plate,
    captures: tuple[Capture, Capture],
    own_disc_px: float | None,
    lens: LensPair,
    settings: MergeSettings,
) -> tuple[Matte, Plate]:
    """Return matte and plate at the f-numbers asked for, the very same where none is.

    A matte made softer carries none of the foreground frame's noise.
    """
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
            gap_px=lens.gap_px,
            patches=laid.missing,
        )
    if aperture.foreground_f is not None:
        softer = foreground_at(
            matte.alpha,
            matte.color,
            view.groups,
            own_disc_px or 0,
            f_numbers=(wide, narrow, aperture.foreground_f),
        )
        if softer[0] is not matte.alpha:
            matte = Matte(*softer, matte.searched)
    return matte, plate
