"""Explains the background frame in layers: sharp foreground, its blur, and what lies behind.

The matte says what is in front.  From it follow the boughs' discs, the veil that they leave, and
the plate; and these in turn tell whether the matte can be right.
"""

from dataclasses import dataclass, replace

from blendkit.blending import BoughGroup, Plate, Veil
from blendkit.blending.aperture import background_at, foreground_at
from blendkit.blending.clear import shown_behind, with_clear_frame
from blendkit.blending.discs import DiscEvidence, gather_evidence
from blendkit.blending.groups import find_groups
from blendkit.blending.plate import make_plate
from blendkit.blending.proof import keep_proven, proven_share
from blendkit.blending.rerender import rerender
from blendkit.blending.veil import make_veil
from blendkit.frame import Bool, Capture, Float, Warped
from blendkit.masks import Matte
from blendkit.masks.find import given_matte
from blendkit.masks.plate_term import hold_to_plate
from blendkit.masks.zones import unplaced
from blendkit.settings import MergeSettings

_WORTH_ANOTHER = 0.005
"""Share of the matte that must have been dropped for discs and plate to be found anew."""


@dataclass(frozen=True, eq=False, slots=True)
class Laid:
    """Both frames on one grid in one light, and what is known about each place.

    background, aligned: float32 (height, width, 3), linear.  footprint: bool (height, width), where
    the foreground frame reaches.  The rest float32 (height, width): softness, the disc by which the
    background frame is the softer one, px; sitter, 1 where the background frame stays; unsure, 1
    where it says nothing about what lies behind.  full: bool, where the background frame is clipped
    and the foreground frame is not.  clear: the clear frame in the same light.
    """

    background: Float
    aligned: Float
    footprint: Bool
    softness: Float
    sitter: Float
    unsure: Float
    full: Bool
    clear: Warped | None


@dataclass(frozen=True, eq=False, slots=True)
class View:
    """One explanation of the background frame: this foreground, blurred so, over this plate.

    behind: what lies behind as far as the foreground frame shows it, and how well it does.
    unplaced: bool (height, width), where the frames do not agree on what it is; None = not asked.
    """

    matte: Matte
    behind: tuple[Float, Float]
    evidence: DiscEvidence
    groups: tuple[BoughGroup, ...]
    veil: Veil
    plate: Plate
    unplaced: Bool | None = None


def view_of(laid: Laid, matte: Matte, settings: MergeSettings) -> View:
    """Explain the background frame by a matte: find the boughs' discs, the veil, the plate."""
    guess = rerender(laid.aligned, (1 - matte.alpha) * laid.footprint, laid.softness)
    behind = shown_behind(*guess, laid.clear)
    evidence = gather_evidence(
        laid.background, behind[0], matte.alpha, matte.color, 1 - laid.unsure, settings.discs
    )
    size = (laid.footprint.shape[1], laid.footprint.shape[0])
    groups = find_groups(evidence, size, settings.discs)
    return View(
        matte, behind, evidence, groups, *_veil_and_plate(laid, matte, groups, behind, settings)
    )


def _veil_and_plate(
    laid: Laid,
    matte: Matte,
    groups: tuple[BoughGroup, ...],
    behind: tuple[Float, Float],
    settings: MergeSettings,
) -> tuple[Veil, Plate]:
    veil = make_veil(matte.alpha, matte.color, groups)
    plate = make_plate(laid.background, veil, *behind, laid.sitter, settings.plate, full=laid.full)
    return veil, with_clear_frame(plate, laid.clear, veil, laid.sitter)


def proven(
    laid: Laid, view: View, region: Bool, grain: float, settings: MergeSettings, *, painted: bool
) -> View:
    """Ask the frames about the matte: drop what leaves no veil, then hold it to S = aF + (1-a)P.

    region: bool (height, width), where the matte was searched; painted: whether by hand.
    grain: of the foreground frame at middle grey.
    """
    proposed = view.matte.alpha
    share = proven_share(view.evidence, view.groups, laid.aligned, laid.softness)
    kept = keep_proven(proposed, share, painted=painted)
    if float((proposed - kept).sum()) > _WORTH_ANOTHER * float(proposed.sum()):
        view = view_of(laid, view.matte.limited_to(kept), settings)
    if not view.groups:
        return replace(view, unplaced=unplaced(proposed, view.matte.alpha))
    matte = view.matte
    held = hold_to_plate(laid.aligned, view.plate.pixels, matte.alpha, matte.color, region, grain)
    matte = given_matte(laid.aligned, held, region)
    veil, plate = _veil_and_plate(laid, matte, view.groups, view.behind, settings)
    open_ = unplaced(proposed, matte.alpha)
    return replace(view, matte=matte, veil=veil, plate=plate, unplaced=open_)


def at_f_numbers(
    laid: Laid,
    view: View,
    captures: tuple[Capture, Capture],
    own_disc_px: float,
    gap_px: float,
    settings: MergeSettings,
) -> tuple[Matte, Plate]:
    """Return matte and plate at the f-numbers asked for, as they are where none is."""
    matte, plate, aperture = view.matte, view.plate, settings.aperture
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
