"""Explains the background frame in layers: sharp foreground, its blur, and what lies behind.

The matte says what is in front.  From it follow the boughs' discs, the veil that they leave, and
the plate; and these in turn tell whether the matte can be right.
"""

from dataclasses import dataclass

import cv2
import numpy as np

from blendkit.blending import BoughGroup, Plate, Veil
from blendkit.blending.aperture import background_at, foreground_at
from blendkit.blending.clear import shown_behind, with_clear_frame
from blendkit.blending.discs import DiscEvidence, gather_evidence
from blendkit.blending.groups import find_groups
from blendkit.blending.plate import make_plate
from blendkit.blending.proof import keep_proven, proven_share
from blendkit.blending.rerender import rerender
from blendkit.blending.veil import make_veil
from blendkit.filters.resample import reduce_by
from blendkit.frame import Bool, Capture, Float, Warped
from blendkit.hints import Hints
from blendkit.masks import Matte
from blendkit.masks.find import given_matte
from blendkit.masks.plate_term import hold_to_plate
from blendkit.masks.zones import unplaced
from blendkit.settings import MergeSettings

_SKETCH_PX = 1200
_WHOLE = 0.99
_BLURRED_ON = 0.7
"""Share of the missing blur that a focus pair's background frame gets before discs are sought.

With none one of three pairs ran off to the largest disc, with all of it the others came out large.
"""
_WORTH_ANOTHER = 0.005
"""Share of the matte that must have been dropped for discs and plate to be found anew."""


@dataclass(frozen=True, eq=False, slots=True)
class Laid:
    """Both frames on one grid in one light, and what is known about each place.

    background, aligned: float32 (height, width, 3), linear.  footprint: bool (height, width), where
    the foreground frame reaches.  The rest float32 (height, width): softness and sharpness, the
    disc by which the background frame is the softer and the sharper one, px; sitter, 1 where the
    background frame stays; unsure, 1 where it says nothing about what lies behind.  full: bool,
    where the background frame is clipped and the foreground frame is not.  clear: the clear frame
    in the same light.
    """

    background: Float
    aligned: Float
    footprint: Bool
    softness: Float
    sharpness: Float
    sitter: Float
    unsure: Float
    full: Bool
    clear: Warped | None


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


@dataclass(frozen=True, eq=False, slots=True)
class _Sketch:
    """What the boughs' discs are sought and judged by, at reduced size, and the discs found."""

    evidence: DiscEvidence
    groups: tuple[BoughGroup, ...]


def explained(
    laid: Laid,
    matte: Matte,
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
    matte : Matte
        As proposed.
    region : ndarray
        bool (height, width), where the matte was searched.
    grain : float
        Noise of the foreground frame at middle grey, linear standard deviation.
    hints : Hints
        A matte that is given, not proposed, stays as it is; a region painted by hand needs less
        proof than one that nobody painted.
    settings : MergeSettings

    Returns
    -------
    View, Plate
        What stands in front and how it veils, and what lies behind.
    """
    proposed = matte.alpha
    sketch = _sketch(laid, matte, settings)
    asked = bool(sketch.groups) and hints.matte is None
    if asked:
        share = proven_share(sketch.evidence, sketch.groups, laid.aligned, laid.softness)
        kept = keep_proven(proposed, share, painted=hints.foreground_mask is not None)
        if float((proposed - kept).sum()) > _WORTH_ANOTHER * float(proposed.sum()):
            matte = matte.limited_to(kept)
            sketch = _sketch(laid, matte, settings)
    veil = make_veil(matte.alpha, matte.color, sketch.groups)
    behind = _behind(laid, matte, veil)
    if asked and sketch.groups:
        plate = _plate(laid, veil, behind, settings)
        held = hold_to_plate(laid.aligned, plate.pixels, matte.alpha, matte.color, region, grain)
        del veil, plate  # two of each would not fit beside large frames
        matte = given_matte(laid.aligned, held, region)
        veil = make_veil(matte.alpha, matte.color, sketch.groups)
    plate = _plate(laid, veil, behind, settings)
    open_ = unplaced(proposed, matte.alpha) if asked else np.zeros_like(region)
    return View(matte, sketch.groups, veil.coverage, open_), plate


def _sketch(laid: Laid, matte: Matte, settings: MergeSettings) -> _Sketch:
    """Find the boughs' discs in a picture reduced to some 1200 px, because veils are smooth."""
    factor = max(round(max(laid.footprint.shape) / _SKETCH_PX), 1)
    background, aligned, alpha, color, footprint, softness, sharpness, unsure = (
        reduce_by(np.asarray(v, np.float32), factor)
        for v in (
            laid.background,
            laid.aligned,
            matte.alpha,
            matte.color,
            laid.footprint,
            laid.softness,
            laid.sharpness,
            laid.unsure,
        )
    )
    clear = None
    if laid.clear is not None:
        reaches = reduce_by(laid.clear.footprint.astype(np.float32), factor) > _WHOLE
        clear = Warped(reduce_by(laid.clear.pixels, factor), reaches)
    disc_px = np.asarray(softness / factor, np.float32)
    guess = rerender(aligned, (1 - alpha) * footprint, disc_px)
    if float(sharpness.max()) > 0:
        over_px = np.asarray(_BLURRED_ON * sharpness / factor, np.float32)
        background, alpha, color = _as_soft_as_behind(background, alpha, color, over_px)
    evidence = gather_evidence(
        background,
        shown_behind(*guess, clear)[0],
        alpha,
        color,
        1 - unsure,
        settings.discs,
        reduced_by=factor,
    )
    size = (laid.footprint.shape[1], laid.footprint.shape[0])
    return _Sketch(evidence, find_groups(evidence, size, settings.discs))


def _as_soft_as_behind(
    background: Float, alpha: Float, color: Float, over_px: Float
) -> tuple[Float, Float, Float]:
    """Return the background frame as soft as the foreground frame is behind, and what veils it.

    In a focus pair the background frame is the sharper one behind the boughs, and the foreground
    frame cannot be made as sharp.  So both sides of W = (aF)*k + (1 - a*k) B are blurred on.
    """
    everywhere = np.ones_like(alpha)
    layers = (background, color * alpha[..., None], np.dstack([alpha] * 3))
    soft, light, cover = (rerender(layer, everywhere, over_px)[0] for layer in layers)
    straight = light / np.maximum(cover[..., :1], 1e-4)
    return soft, np.ascontiguousarray(cover[..., 0]), np.asarray(straight, np.float32)


def _behind(laid: Laid, matte: Matte, veil: Veil) -> tuple[Float, Float]:
    """Return what lies behind, as far as the foreground frame shows it, and how well it does."""
    keep = (1 - matte.alpha) * laid.footprint
    guess = rerender(laid.aligned, keep, laid.softness, where=_around(veil.coverage > 0))
    return shown_behind(*guess, laid.clear)


def _around(region: Bool) -> Bool:
    """Return a region with what lies near, where both plates are compared."""
    factor = max(max(region.shape) // 300, 1)
    small = reduce_by(region.astype(np.float32), factor) > 0
    reach = 2 * (max(small.shape) // 30) + 1
    wide = cv2.dilate(small.astype(np.uint8), np.ones((reach, reach), np.uint8))
    size = (region.shape[1], region.shape[0])
    return np.asarray(cv2.resize(wide, size, interpolation=cv2.INTER_NEAREST) > 0, np.bool_)


def _plate(laid: Laid, veil: Veil, behind: tuple[Float, Float], settings: MergeSettings) -> Plate:
    plate = make_plate(laid.background, veil, *behind, laid.sitter, settings.plate, full=laid.full)
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
