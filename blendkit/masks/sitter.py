"""The zone in the background frame's focus, which a merge must not change: the sitter, as a rule.

The network draws its outline, smooth skin and dress included.  A piece of what it draws is believed
if the measured blur bears it out: some of it must be seen sharp in both frames, or softer in the
foreground frame by one disc all over, and not much of it clearly otherwise.
"""

from dataclasses import dataclass

import cv2
import numpy as np
from skimage.filters import apply_hysteresis_threshold

from blendkit.filters.bands import band_pass, gaussian, window_mean
from blendkit.filters.circles import round_kernel
from blendkit.filters.detail import detailed_in_both, displacement_px
from blendkit.filters.disc import disc_blur
from blendkit.filters.resample import any_in_cells, enlarge, enlarge_mask, reduce_by
from blendkit.filters.threads import each_part
from blendkit.filters.tiles import Window, tiles
from blendkit.frame import Bool, Float, luminance
from blendkit.masks.network import focus_zone
from blendkit.masks.sitter_colours import unlike_her
from blendkit.masks.sitter_focus import how_held
from blendkit.masks.sitter_outline import carried_to_outline
from blendkit.sharpness import RelativeBlur

_WORKING_PX = 640
_TILE = 512
_POSSIBLY, _SURELY = 0.15, 0.5
"""Smooth skin gives the network little to see, so the zone grows from where it is sure to where it
thinks it possible: on simulated figures this misses 0.1 % of them and adds 2 % of the frame."""
_LEAST_SHARE = 0.002
_LEAST_BORNE_OUT = 0.01
"""Share of a piece's area that must be seen to be held as the sitter is."""
_MOST_AGAINST = 0.4
"""Share of it that may look clearly softer in one frame, and unlike in its fine detail."""
_ALIKE = 0.35
"""Correlation of fine detail from which a place is not soft, whatever was measured: a veil over the
sitter takes contrast as blur does, but what is left is the same detail.  On 36 simulated pairs
half of a figure that boughs veil was lost without this; 0.25 and 0.5 do as well."""
_SAME, _JOINS_SHARE, _WINDOW_SHARE = 0.7, 1 / 160, 1 / 64
"""Correlation from which detail not measured otherwise carries the zone on, the gaps that it
bridges, and how far such a measurement reaches over, of the long side."""
_MOST_IN_PLACE = 0.5
"""Share of detail that lies in place and is softer in one frame, from which nobody has moved."""
_FADE_SHARE, _FADED_PX = 1 / 120, 1200
"""Over which she fades inside what is painted, of the long side, and the size it is measured at."""
_HERS, _FIRMLY = 0.5, 0.8
"""From what chance a place is hers whatever its colour.  Her outline is a few px wide at that size,
and between its 0.5 and 0.8 lies sky that is wanted."""
_LARGEST_SHARE = 0.45
"""A zone in focus over more of the frame than this is the scene itself, not somebody in it."""


@dataclass(frozen=True, eq=False, slots=True)
class Sitter:
    """The sitter as found in a pair.

    kept: float32 (height, width), 0 to 1: in the background frame's focus, which a merge must not
        change; all 0 where no such zone stands out.
    drawn: bool (height, width): what the network takes for a sitter, whether or not the frames
        hold it sharp.
    hers: bool (height, width): what lies within her outline.  What is kept reaches past it.
    """

    kept: Float
    drawn: Bool
    hers: Bool


def find_sitter(background: Float, aligned: Float, blur: RelativeBlur, grain: float) -> Sitter:
    """Map the zone in the background frame's focus, and what looks like a sitter out of focus.

    Parameters
    ----------
    background, aligned : ndarray
        Both frames on one grid in one light, float32 (height, width, 3), linear.
    blur : RelativeBlur
    grain : float
        Noise of the foreground frame at middle grey, linear standard deviation.

    Returns
    -------
    Sitter
    """
    shape = background.shape[:2]
    factor = max(round(max(shape) / _WORKING_PX), 1)
    one, other = (reduce_by(frame, factor) for frame in (background, aligned))
    chance = focus_zone(one, other, grain / factor)
    drawn = apply_hysteresis_threshold(chance, _POSSIBLY, _SURELY)
    held = how_held(blur, drawn, max(shape))
    likeness = _likeness(disc_blur(one, held.disc_px / factor), other)
    alike = likeness > _ALIKE
    size = (shape[1], shape[0])
    whole = enlarge_mask(drawn, factor, size)
    inside = drawn & _borne_out(drawn, held.same, held.soft & ~alike)
    enough = float(held.same.mean()) >= _LEAST_SHARE
    if not (enough and _LEAST_SHARE < float(inside.mean()) < _LARGEST_SHARE):
        inside = _elsewhere(one, other, grain / factor, in_place=held.softer & alike)
    if not _LEAST_SHARE < float(inside.mean()) < _LARGEST_SHARE:
        return Sitter(np.zeros(shape, np.float32), whole, np.zeros(shape, np.bool_))
    found = inside
    # Nothing is measured between boughs that were painted, but detail is seen there.
    inside = _carried_on(inside, (held.same | held.unmeasured) & (likeness > _SAME))
    # A cell beyond what was found: an outline that is kept costs less than one that changes.
    zone = cv2.dilate(inside.astype(np.uint8), np.ones((3, 3), np.uint8)) > 0
    zone = carried_to_outline(zone, one)
    hers = _within_outline(found, zone, chance, one)
    kept = _at_full_size(np.asarray(zone, np.float32), background, factor)
    limit = zone_limit(np.asarray(hers, np.float32), factor, size)
    return Sitter(kept, whole, np.asarray(limit > _HERS))


def _within_outline(found: Bool, zone: Bool, chance: Float, picture: Float) -> Bool:
    """Return what lies within her outline, as far as her colours tell it from what lies around.

    found: as the network drew it and blur bore it out; zone: drawn wide; both bool.
    """
    unlike = unlike_her(picture, chance, zone)
    hers = found & ~(unlike & (chance < _FIRMLY))
    return carried_to_outline(hers, picture, unlike & (chance < _POSSIBLY))


def _carried_on(inside: Bool, same: Bool) -> Bool:
    """Return a zone with what joins it and shows the same fine detail in both frames.

    A dress behind a veil is more than the network has seen: it draws head and hair, and stops.
    """
    joins, window = (
        round_kernel(round(share * max(inside.shape))) for share in (_JOINS_SHARE, _WINDOW_SHARE)
    )
    held = cv2.morphologyEx((inside | same).astype(np.uint8), cv2.MORPH_CLOSE, joins)
    # Windows reach past her outline; the walker brings back what is lost inside it.
    kept = (cv2.erode(held, window) > 0) | inside
    _, labels = cv2.connectedComponents(kept.astype(np.uint8))
    joined = np.unique(labels[inside])
    wide = inside | np.isin(labels, joined[joined > 0])
    return wide if float(wide.mean()) < _LARGEST_SHARE else inside


def _elsewhere(one: Float, other: Float, grain: float, *, in_place: Bool) -> Bool:
    """Return the sitter who moved between the frames: her place in both of them.

    one, other: both frames at working size.  in_place: bool (height, width), what lies where it
    was and is softer in one frame, so no sitter at all.
    """
    detailed = detailed_in_both(one, other)
    if not detailed.any() or in_place[detailed].mean() > _MOST_IN_PLACE:
        return np.zeros_like(detailed)
    moved = displacement_px(one, other, detailed)
    if moved is None:
        return detailed
    there = np.array([[1, 0, moved[0]], [0, 1, moved[1]]], np.float64)
    size = (one.shape[1], one.shape[0])
    back = cv2.warpAffine(
        other, there, size, flags=cv2.WARP_INVERSE_MAP, borderMode=cv2.BORDER_REPLICATE
    )
    chance = focus_zone(one, np.asarray(back, np.float32), grain)
    here = apply_hysteresis_threshold(chance, _POSSIBLY, _SURELY)
    here &= _borne_out(here, detailed, np.zeros_like(detailed))
    gone = cv2.warpAffine(here.astype(np.uint8), there, size) > 0
    return np.asarray(here | gone, np.bool_)


def _likeness(one: Float, other: Float) -> Float:
    """Return the correlation of both frames' fine detail around each place, -1 to 1."""
    first, second = (band_pass(luminance(frame), 0.7, 2.0) for frame in (one, other))
    power = gaussian(np.square(first), 5.0) * gaussian(np.square(second), 5.0)
    return np.asarray(gaussian(first * second, 5.0) / np.sqrt(power + 1e-12), np.float32)


def _borne_out(inside: Bool, same: Bool, soft: Bool) -> Bool:
    """Return the pieces of a zone that hold enough of what is held alike, and little soft."""
    count, labels = cv2.connectedComponents(inside.astype(np.uint8))
    area = np.bincount(labels.ravel(), minlength=count)
    seen = np.bincount(labels[same], minlength=count)
    against = np.bincount(labels[soft], minlength=count)
    good = (seen > _LEAST_BORNE_OUT * area) & (against < _MOST_AGAINST * area)
    good[0] = False
    return np.asarray(good[labels], np.bool_)


def _at_full_size(zone: Float, background: Float, factor: int) -> Float:
    """Bring a zone to full size along the picture's edges by a guided filter.

    He, Sun & Tang (2013), IEEE TPAMI 35(6), doi:10.1109/TPAMI.2012.213, grey guide, at reduced
    scale for the coefficients.
    """
    guide = np.sqrt(np.clip(luminance(reduce_by(background, factor)), 0, 1))
    side = 5
    mean_g, mean_z = window_mean(guide, side), window_mean(zone, side)
    covariance = window_mean(guide * zone, side) - mean_g * mean_z
    variance = window_mean(guide * guide, side) - mean_g**2
    slope = covariance / (variance + 1e-3)
    offset = mean_z - slope * mean_g
    size = (background.shape[1], background.shape[0])
    slope, offset = (enlarge(np.asarray(v, np.float32), factor, size) for v in (slope, offset))
    kept = zone_limit(zone, factor, size)

    def follow_edges(part: tuple[Window, Window]) -> None:
        own, _ = part
        if kept[own].any():
            guide = np.sqrt(np.clip(luminance(background[own]), 0, 1))
            soft = np.clip((slope[own] * guide + offset[own] - 0.35) / 0.3, 0, 1)
            kept[own] *= soft

    each_part(follow_edges, tiles(kept.shape, _TILE, 0))
    return kept


def zone_limit(zone: Float, factor: int, size: tuple[int, int]) -> Float:
    """Return where a zone may reach at all, at full size: nothing sprouts far from it."""
    near = cv2.dilate((zone > 0.2).astype(np.float32), np.ones((3, 3), np.uint8))
    return enlarge(np.asarray(near, np.float32), factor, size)


def protected(sitter: Float, painted: Bool) -> Float:
    """Return the sitter where the user has not painted, float32 (height, width)."""
    return np.asarray(sitter * ~painted, np.float32)


def fading(sitter: Float, painted: Bool) -> Float:
    """Return the sitter whole where the user has not painted, and fading inside what is painted.

    A veil that is taken away up to the outline of a mask shows the outline.
    """
    if not (painted & (sitter > 0)).any():
        return protected(sitter, painted)
    factor = max(round(max(painted.shape) / _FADED_PX), 1)
    whole = ~any_in_cells(~painted, factor)
    inside_px = cv2.distanceTransform(whole.astype(np.uint8), cv2.DIST_L2, 5)
    left = np.clip(1 - inside_px / (_FADE_SHARE * max(whole.shape)), 0, 1)
    size = (painted.shape[1], painted.shape[0])
    faded = enlarge(np.asarray(np.square(left), np.float32), factor, size)
    return np.asarray(sitter * np.where(painted, faded, np.float32(1)), np.float32)
