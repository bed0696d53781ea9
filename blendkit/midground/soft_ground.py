"""Flags of the mid-ground: soft between two sharp parts of one surface, and jumps of blur on it.

Along a surface on which distance runs one way the sharp places of one exposure are one interval.
So where a plane is sharp near and sharp far, everything between must be sharp; what is soft there
is soft for no optical reason.  Nothing is said of places that lie on no plane.
"""

import math
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass

import cv2
import numpy as np

from blendkit.filters.resample import enlarge_mask, reduce_by
from blendkit.frame import Bool, Capture, Float
from blendkit.hints import NearerLine
from blendkit.midground import Flag, LensPair, ResultBlur, Surface
from blendkit.midground.loudness import blur_severity, just_visible_px, step_severity
from blendkit.midground.nearer import contradicts, soft_along
from blendkit.midground.surfaces import find_surfaces
from blendkit.optics import exact_f_number, shrinking_f_number
from blendkit.optics.bracket import bridge_f_number, reaches
from blendkit.optics.diffraction import LARGEST_F_NUMBER
from blendkit.optics.distances import between, distances
from blendkit.settings import ViewingSettings

SOFT_AT_1200_PX = 3.0
"""Discs above this, px at 1200 px width, count as soft: smaller ones are within the map's error."""
_READABLE_PX = 1.5
"""Discs below this cannot be told from none, however small the picture."""
_LEAST_SHARE = 0.003
_BROAD_SHARE = 0.03
_FALLS = 0.5
_BESIDE_SHARE = 0.008
"""How far a jump of blur is marked to both sides, of the map's long side."""
_STRAY = 0.02


@dataclass(frozen=True, eq=False, slots=True)
class Ground:
    """A surface with its blur in the result, all at the blur map's scale.

    disc_px: of the result by the surface's plane; nearness: signed background disc by the plane.
    pasted: share of the foreground frame, 0 to 1.
    """

    surface: Surface
    nearness: Float
    disc_px: Float
    pasted: Float


def grounds_of(blur: ResultBlur, alpha: Float, *, seed: int = 0) -> tuple[Ground, ...]:
    """Return the surfaces of a result with their blur; thin foreground is left out."""
    pasted, thin = _broad_matte(alpha, blur)
    found = []
    for surface in find_surfaces(blur, ~thin, seed=seed):
        x = surface.discs_px()
        front = blur.lens.ratio * x - blur.lens.gap_px
        disc = (1 - pasted) * np.abs(x) + pasted * np.abs(front)
        found.append(Ground(surface, x, np.asarray(disc, np.float32), pasted))
    return tuple(found)


def soft_midground(
    blur: ResultBlur,
    alpha: Float,
    viewing: ViewingSettings,
    captures: tuple[Capture, Capture],
    *,
    nearer: tuple[NearerLine, ...] = (),
    seed: int = 0,
) -> Iterator[Flag]:
    """Flag ground that is soft between two sharp parts of it, and jumps of blur on it.

    nearer: the user's lines over surfaces along which distance falls.  Where one contradicts the
        order that blur shows, the surface is left alone; without a plane it gives the order.
    """
    if blur.lens.evidence == "unknown":
        return
    size = (alpha.shape[1], alpha.shape[0])
    visible = just_visible_px(size, viewing)
    known = blur, size, visible, captures
    flagged = np.zeros(blur.disc_px.shape, np.bool_)
    for ground in grounds_of(blur, alpha, seed=seed):
        if any(contradicts(line, ground.nearness, ground.surface.region, blur) for line in nearer):
            continue
        soft = soft_between_sharp(ground, soft_from_px(size, visible))
        if soft is not None:
            flagged |= soft
            yield _soft_flag(soft, float(np.quantile(ground.disc_px[soft], 0.9)), *known)
        yield from _step_flag(ground, blur, size, visible)
    pasted, thin = _broad_matte(alpha, blur)
    for line in nearer:
        along = soft_along(line, blur, pasted, ~thin, soft_from_px(size, visible))
        if along is not None and not (along & flagged).any():
            worst = float(np.quantile(blur.disc_px[along], 0.9))
            yield _soft_flag(along, worst, *known, by=" by your line")


def soft_from_px(size: tuple[int, int], visible_px: float) -> float:
    """Return the disc from which ground counts as soft, px."""
    return max(SOFT_AT_1200_PX * max(size) / 1200, visible_px, _READABLE_PX)


def soft_between_sharp(ground: Ground, least_px: float) -> Bool | None:
    """Return where a surface is soft although it is sharp both nearer and farther; None = nowhere.

    The near sharp part must come from the foreground frame and the far one from the background
    frame: what a single frame shows is what its lens did.  The far one may be too plain to be
    measured, if blur was seen to fall towards it.
    """
    here, x, seen = ground.surface.region, ground.nearness, ground.surface.seen
    sharp = here & (ground.disc_px < least_px)
    near, far = sharp & seen & (ground.pasted > 0.5), sharp & (ground.pasted <= 0.5)
    enough = _LEAST_SHARE * here.size
    if min(near.sum(), far.sum()) < enough:
        return None
    if (far & seen).sum() < enough and not _seen_to_fall(ground):
        return None
    # From the nearest to the farthest sharp place: a bridge may leave sharp ground in the middle.
    between = (x < np.quantile(x[near], 1 - _STRAY)) & (x > np.quantile(x[far], _STRAY))
    soft = here & (ground.disc_px >= least_px) & between
    # A line one cell wide is the map's rounding, not a band that anybody sees.
    broad = cv2.morphologyEx(soft.astype(np.uint8), cv2.MORPH_OPEN, np.ones((2, 2), np.uint8))
    return np.asarray(soft, np.bool_) if broad.sum() >= enough else None


def soft_regions(flags: Iterable[Flag]) -> list[Bool]:
    """Return where ground was flagged as soft, bool (height, width) each."""
    return [flag.region for flag in flags if flag.kind == "soft-midground"]


def _seen_to_fall(ground: Ground) -> bool:
    """Tell whether the background frame's part was measured down to half its largest disc."""
    disc = ground.disc_px[ground.surface.seen & (ground.pasted <= 0.5)]
    if not disc.size:
        return False
    least, worst = np.quantile(disc, [0.02, 0.98])
    return bool(least <= _FALLS * worst)


def _soft_flag(
    soft: Bool,
    worst: float,
    blur: ResultBlur,
    size: tuple[int, int],
    visible: float,
    captures: tuple[Capture, Capture],
    *,
    by: str = "",
) -> Flag:
    share = 100 * float(soft.mean())
    known = "" if blur.lens.evidence == "recorded" else ", measured at edges"
    return Flag(
        "soft-midground",
        blur_severity(worst, visible),
        at_full_size(soft, blur.factor, size),
        f"{share:.1f} % of the picture is soft between two sharp parts of one surface{by}: its "
        f"disc reaches {worst:.1f} px{known}, {worst / visible:.1f} times the just visible one",
        bridge_advice(blur, visible, captures),
    )


def bridge_advice(blur: ResultBlur, visible: float, captures: tuple[Capture, Capture]) -> str:
    """Say which f-number would have closed the gap, or that a bridge frame does."""
    stop, gap_px = captures[1].f_number, blur.lens.gap_px  # a disc in the foreground frame
    if stop is None or gap_px <= 0:
        return "repair it with extend or taper, or take a bridge frame focused on it"
    closing = shrinking_f_number(stop, gap_px / (2 * visible))
    bridges = _bridges(blur.lens, visible, stop, [c.focus_distance_m for c in captures])
    if closing is not None:
        return f"take both frames at about f/{closing:g}, or {bridges}"
    return f"take {bridges}; both frames at f/{LARGEST_F_NUMBER:g} do not close the gap"


def _bridges(
    lens: LensPair, visible: float, stop: float, distances_m: Sequence[float | None]
) -> str:
    """Say how many bridge frames to take, at which f-number, focused where.

    Every frame holds what its disc leaves visible, on both sides of its focus.  stop: f-number of
    the foreground frame.  distances_m: focus of the background and of the foreground frame.
    """
    held = visible, lens.ratio * visible  # by the foreground and by the background frame
    least = exact_f_number(stop) * max(lens.gap_px - sum(held), 0) / (2 * visible)
    f_number = bridge_f_number(stop, least)
    count = 1 if reaches(f_number, least) else math.ceil(least / exact_f_number(f_number))
    frames, where = "a bridge frame", "between the two focus distances"
    if count > 1:
        frames = f"about {count} bridge frames"
    far_m, near_m = distances_m
    if near_m and far_m and near_m < far_m:  # else what is recorded is no help
        share = (1 + (held[0] - held[1]) / max(lens.gap_px, visible)) / 2
        focus_m = 1 / ((1 - share) / near_m + share / far_m)
        where = f"at {distances([near_m, focus_m, far_m])[1]}"
        if count > 1:
            where = f"between {between(near_m, far_m)}"
    return f"{frames} at f/{f_number:g} focused {where}"


def _step_flag(
    ground: Ground, blur: ResultBlur, size: tuple[int, int], visible: float
) -> Iterator[Flag]:
    """Flag the seam of the matte on a surface where blur jumps across it."""
    edge = seam_of(ground)
    if edge.sum() < 0.02 * max(edge.shape):
        return
    x = ground.nearness[edge]
    one = float(np.median(np.abs(x)))
    other = float(np.median(np.abs(blur.lens.ratio * x - blur.lens.gap_px)))
    if max(one, other) < soft_from_px(size, visible):
        return
    severity = step_severity(one, other, visible)
    if severity is None:
        return
    yield Flag(
        "blur-step",
        severity,
        around_seam(edge, blur.factor, size),
        f"blur jumps from {other:.1f} to {one:.1f} px where the foreground frame ends on a surface",
        "end the foreground where both frames are equally sharp, or repair it with extend or taper",
    )


def surface_seams(blur: ResultBlur, alpha: Float, *, seed: int = 0) -> Bool:
    """Return where the matte ends inside a surface, so that both frames show the same there.

    bool (height, width) of the matte.
    """
    size = (alpha.shape[1], alpha.shape[0])
    seams = np.zeros(alpha.shape, np.bool_)
    if blur.lens.evidence != "unknown":
        for ground in grounds_of(blur, alpha, seed=seed):
            seams |= at_full_size(seam_of(ground), blur.factor, size)
    return seams


def around_seam(edge: Bool, factor: int, size: tuple[int, int]) -> Bool:
    """Return a seam of the blur map with what lies beside it, at full size (width, height)."""
    side = max(round(_BESIDE_SHARE * max(edge.shape)), 1) * 2 + 1
    region = cv2.dilate(edge.astype(np.uint8), np.ones((side, side), np.uint8)) > 0
    return at_full_size(np.asarray(region, np.bool_), factor, size)


def seam_of(ground: Ground) -> Bool:
    """Return where the matte ends inside a surface, bool at the blur map's scale."""
    inside = (ground.pasted > 0.5).astype(np.uint8)
    edge = cv2.morphologyEx(inside, cv2.MORPH_GRADIENT, np.ones((3, 3), np.uint8)) > 0
    return np.asarray(edge & ground.surface.region, np.bool_)


def _broad_matte(alpha: Float, blur: ResultBlur) -> tuple[Float, Bool]:
    """Return the matte without thin foreground, and where thin foreground and its veil may be."""
    shape = blur.disc_px.shape
    small = cv2.resize(
        reduce_by(alpha, blur.factor), (shape[1], shape[0]), interpolation=cv2.INTER_LINEAR
    )
    side = max(round(_BROAD_SHARE * max(shape)), 3) | 1
    kernel = np.ones((side, side), np.uint8)
    padded = cv2.copyMakeBorder(small, side, side, side, side, cv2.BORDER_REPLICATE)
    broad = cv2.morphologyEx(padded, cv2.MORPH_OPEN, kernel)[side:-side, side:-side]
    thin = cv2.dilate((small - broad > 0.1).astype(np.uint8), kernel) > 0
    return np.asarray(broad, np.float32), np.asarray(thin, np.bool_)


def at_full_size(region: Bool, factor: int, size: tuple[int, int]) -> Bool:
    """Return a region of a picture reduced by a factor at full size (width, height)."""
    return enlarge_mask(region, factor, size, smooth=True)
