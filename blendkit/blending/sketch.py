"""A sketch of the veil: the boughs' discs, found in a picture reduced to some 1200 px."""

from dataclasses import dataclass

import numpy as np

from blendkit.blending import Backdrop, BoughGroup, Laid, WholeBackdrop
from blendkit.blending.clear import shown_behind
from blendkit.blending.discs import DiscEvidence, gather_evidence
from blendkit.blending.groups import find_groups
from blendkit.blending.plate import make_plate
from blendkit.blending.rerender import rerender
from blendkit.blending.veil import make_veil
from blendkit.filters.patches import reduced_patched
from blendkit.filters.resample import reduce_by, share_in_cells
from blendkit.filters.tiles import whole
from blendkit.frame import Float, Warped
from blendkit.settings import DiscSettings, PlateSettings

_SKETCH_PX = 1200
_WHOLE = 0.99
_BLURRED_ON = 0.7
"""Share of the missing blur that a focus pair's background frame gets before discs are sought.

With none one of three pairs ran off to the largest disc, with all of it the others came out large.
"""


@dataclass(frozen=True, eq=False, slots=True)
class Sketch:
    """What the boughs' discs are sought and judged by, at reduced size, and the discs found.

    alpha, color: the matte and straight colours it was drawn with; behind: re-rendered.  Groups and
    evidence as in the full picture and at the evidence's own scale.
    """

    alpha: Float
    color: Float
    behind: Backdrop
    evidence: DiscEvidence
    groups: tuple[BoughGroup, ...]


@dataclass(frozen=True, eq=False, slots=True)
class Reduced:
    """What is laid, at some 1200 px, where veils are smooth enough to be sought.

    aligned: with bright points restored.  Discs in px of the reduced picture; footprint and unsure
    (sitter or blind) as shares; size: of the full picture.
    """

    background: Float
    aligned: Float
    footprint: Float
    softness: Float
    sharpness: Float
    unsure: Float
    clear: Warped | None
    factor: int
    size: tuple[int, int]


def reduced(laid: Laid, least_factor: int = 1) -> Reduced:
    """Return what is laid at the size at which discs are sought, reduced by so much at least."""
    factor = max(round(max(laid.footprint.shape) / _SKETCH_PX), least_factor)
    clear = None
    if laid.clear is not None:
        reaches = share_in_cells(laid.clear.footprint, factor) > _WHOLE
        clear = Warped(reduce_by(laid.clear.pixels, factor), reaches)
    return Reduced(
        reduce_by(laid.background, factor),
        reduced_patched(laid.aligned, laid.missing, factor),
        share_in_cells(laid.footprint, factor),
        reduce_by(laid.softness, factor) / np.float32(factor),
        reduce_by(laid.sharpness, factor) / np.float32(factor),
        reduce_by(np.maximum(laid.sitter, laid.blind), factor),
        clear,
        factor,
        (laid.footprint.shape[1], laid.footprint.shape[0]),
    )


def judged_at(laid: Laid) -> int:
    """Return the least reduction at which discs are sought and what was found is judged.

    At twice the size at which the foreground is sharp in its own frame: much smaller, thin twigs
    would be dropped with the rest.
    """
    return max(laid.factor // 2, 1)


def draw_sketch(small: Reduced, alpha: Float, color: Float, settings: DiscSettings) -> Sketch:
    """Find the boughs' discs at reduced size.

    Parameters
    ----------
    small : Reduced
    alpha, color : ndarray
        Matte, float32 (height, width), and straight foreground colour, (height, width, 3), of the
        full picture.
    settings : DiscSettings

    Returns
    -------
    Sketch
    """
    alpha, color = reduce_by(alpha, small.factor), reduce_by(color, small.factor)
    background = small.background
    keep = (1 - alpha) * small.footprint
    guess = WholeBackdrop(*rerender(small.aligned, keep, small.softness))
    behind, drawn_with = shown_behind(guess, small.clear), (alpha, color)
    if float(small.sharpness.max()) > 0:
        over_px = np.asarray(_BLURRED_ON * small.sharpness, np.float32)
        background, alpha, color = _as_soft_as_behind(background, alpha, color, over_px)
    evidence = gather_evidence(
        background,
        behind.at(whole(background.shape))[0],
        alpha,
        color,
        1 - small.unsure,
        settings,
        reduced_by=small.factor,
    )
    return Sketch(*drawn_with, behind, evidence, find_groups(evidence, small.size, settings))


def sketched_plate(small: Reduced, sketch: Sketch, settings: PlateSettings) -> tuple[Float, Float]:
    """Return the plate at reduced size, and the coverage of the veil taken from it.

    plate: float32 (height, width, 3); coverage: float32 (height, width).
    """
    factor = small.factor
    groups = [
        BoughGroup(
            reduce_by(group.share, factor),
            group.disc_px / factor,
            (group.shift_px[0] / factor, group.shift_px[1] / factor),
        )
        for group in sketch.groups
    ]
    veil = make_veil(sketch.alpha, sketch.color, groups)
    plate = make_plate(small.background, veil, sketch.behind, small.unsure, settings)
    return plate.pixels, veil.coverage


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
