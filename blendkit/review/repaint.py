"""What strokes change in a small merge: the pieces of the matte that they touch, and their veil.

A merge from the beginning takes many seconds even at screen size.  Strokes choose among what was
found, and have the network look again where they mark more; everything else is worked out once,
without them: alignment, light, discs, the matte of all that might be foreground, the re-rendered
background.  What a stroke changes is composed again in a window.  The merge in full starts from
the beginning.
"""

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Any

import cv2
import numpy as np

from blendkit.blending import Plate, WholeBackdrop
from blendkit.blending.compose import compose, source_map
from blendkit.blending.finish import color_with_grain, grain_plate
from blendkit.blending.plate import make_plate
from blendkit.blending.rerender import rerender
from blendkit.blending.veil import make_veil
from blendkit.filters.resample import reduce_by
from blendkit.frame import Bool, Float, Frame
from blendkit.hints import PAINTED, Hints
from blendkit.masks import Matte
from blendkit.masks.beside_sitter import beside, running_on
from blendkit.masks.find import find_coverage, given_matte
from blendkit.masks.marked import found_where_marked
from blendkit.masks.network import REFOCUSED, SHARP, SOFT
from blendkit.masks.pair_focus import refocused
from blendkit.masks.sitter import fading
from blendkit.masks.spread import reduced_marks, spread_strokes
from blendkit.merge import Merged
from blendkit.sharpness.color_blur import measure_color_blur
from blendkit.sharpness.relative import filled, sharper_by

_RIM_PX = 4
_VISIBLE = 1 / 512
_PIECE = 0.08
_HALF = 2
Window = tuple[slice, slice]


@dataclass(frozen=True, eq=False, slots=True)
class Ready:
    """What is worked out once, without strokes.

    background: the background frame's pixels, float32 (height, width, 3).
    merged: the merge without strokes.
    free: matte of all that might be foreground, proven or not.
    softness: disc of the background, px, float32 (height, width).
    rendered, mass: the background re-rendered without any of it, from `rerender`.
    weights: of the network that looks again under strokes.
    """

    background: Float
    merged: Merged
    free: Matte
    softness: Float
    rendered: Float
    mass: Float
    weights: str


def prepare(frames: tuple[Frame, Frame], merged: Merged, hints: Hints) -> Ready:
    """Work out what strokes choose from.

    frames : background frame, foreground frame; merged, hints : made from them without strokes.
    """
    background = frames[0].pixels
    alpha = merged.matte.alpha
    softness = filled(merged.blur, (alpha.shape[1], alpha.shape[0]), apart=merged.hers)
    free, weights = merged.matte, SHARP
    if hints.matte is None:
        laid = background, merged.aligned
        grain = merged.noise[0].at_middle_grey, merged.noise[1].at_middle_grey
        region = merged.matte.searched
        found = find_coverage(
            *laid,
            region,
            grain[1],
            merged.settings.matte,
            painted=hints.foreground_mask is not None,
            refocused=refocused(merged.blur, (frames[0].capture, frames[1].capture)),
        )
        weights = SOFT if found.factor > 1 else REFOCUSED if found.refocused else SHARP
        color_blur_px = measure_color_blur(merged.aligned)
        alone = running_on(found.alpha, beside(region, merged.sitter))
        free = given_matte(merged.aligned, alone, region, color_blur_px=color_blur_px)
    keep = (1 - np.maximum(free.alpha, alpha)) * merged.covered
    rendered, mass = rerender(merged.aligned, keep, np.maximum(softness, 0))
    return Ready(background, merged, free, softness, rendered, mass, weights)


def repaint(
    ready: Ready, now: Merged, hints: Hints, check: Callable[[], None] = lambda: None
) -> Merged:
    """Return the small merge with these strokes.

    Parameters
    ----------
    ready : what strokes choose from.
    now : the small merge as it was with other strokes, or without any.
    hints : with the strokes.
    check : called between steps; may raise to end the work.
    """
    matte = _chosen(ready, hints)
    if matte is None:
        return ready.merged
    changed = np.abs(matte.alpha - now.matte.alpha) > _VISIBLE
    if not changed.any():
        return replace(now, matte=matte)
    check()
    reach = round(_reach_px(now))
    target = _around(changed, _RIM_PX + reach)
    near = _near(changed, _RIM_PX + reach)[target]
    sitter = fading(ready.merged.sitter, hints.painted(now.pixels.shape[1::-1]))
    return _composed(ready, replace(now, matte=matte, sitter=sitter), target, near, reach)


def _chosen(ready: Ready, hints: Hints) -> Matte | None:
    """Return the matte that strokes choose; None where there are no strokes."""
    front, back = hints.front_strokes, hints.back_strokes
    if front is None and back is None:
        return None
    known = ready.free if front is not None else ready.merged.matte
    if front is not None and hints.matte is None:
        known = _with_marked(ready, known, front)
    small = reduced_marks(front, _HALF), reduced_marks(back, _HALF)
    proposal = reduce_by(known.alpha, _HALF)
    kept = spread_strokes(proposal, reduce_by(ready.merged.aligned, _HALF), *small)
    # A piece goes with its rim; what is fainter than any piece stays, so that nothing else changes.
    gone = ((proposal > _PIECE) & (kept <= 0)).astype(np.uint8)
    rim = cv2.dilate(gone, np.ones((5, 5), np.uint8)) > 0
    lost = _at_full(rim & (kept <= _PIECE), known.alpha.shape)
    alpha = np.where(lost, 0, known.alpha).astype(np.float32)
    return Matte(alpha, known.color, known.searched)


def _with_marked(ready: Ready, known: Matte, front: Float) -> Matte:
    """Return a matte with what the network finds under strokes that mark more than it has."""
    region = known.searched | ((front > PAINTED) & ready.merged.covered)
    aligned, noise = ready.merged.aligned, ready.merged.noise[1]
    alpha = found_where_marked(
        ready.background, aligned, known.alpha, region, front, noise.at_middle_grey, ready.weights
    )
    if alpha is known.alpha:
        return known
    return given_matte(aligned, alpha, region, color_blur_px=measure_color_blur(aligned))


def _at_full(region: Bool, shape: tuple[int, ...]) -> Bool:
    wide = cv2.resize(
        region.astype(np.uint8), None, fx=_HALF, fy=_HALF, interpolation=cv2.INTER_NEAREST
    )
    return np.asarray(wide[: shape[0], : shape[1]] > 0, np.bool_)


def _around(region: Bool, rim_px: int) -> Window:
    rows, columns = np.flatnonzero(region.any(axis=1)), np.flatnonzero(region.any(axis=0))
    return (
        slice(max(int(rows[0]) - rim_px, 0), int(rows[-1]) + rim_px + 1),
        slice(max(int(columns[0]) - rim_px, 0), int(columns[-1]) + rim_px + 1),
    )


def _reach_px(merged: Merged) -> float:
    """Return how far from a change of the matte its veil changes."""
    shifts = [max(map(abs, group.shift_px)) + group.disc_px / 2 for group in merged.groups]
    return max([*shifts, 1.0]) + 2


def _near(region: Bool, reach_px: int) -> Bool:
    """Return what lies within reach of a region."""
    away = cv2.distanceTransform((~region).astype(np.uint8), cv2.DIST_L2, 3)
    return np.asarray(away <= reach_px, np.bool_)


def _composed(ready: Ready, changed: Merged, target: Window, near: Bool, reach: int) -> Merged:
    """Return a merge worked out again where it is `near` in the target window."""
    wide = _widened(target, reach, changed.matte.alpha.shape)
    part, background = _cut(changed, wide), ready.background[wide]
    veil = make_veil(part.matte.alpha, part.matte.color, part.groups)
    behind = WholeBackdrop(ready.rendered[wide], ready.mass[wide])
    settings, noise = changed.settings, changed.noise
    soft = ready.softness[wide]
    plate = make_plate(
        background, veil, behind, part.sitter, settings.plate, sharpness=sharper_by(soft)
    )
    grain_plate(plate, veil.coverage, soft, noise[0], settings.grain)
    alone = changed.matte.alone(changed.covered)  # of the whole picture, as the merge has it
    color_at = color_with_grain(part.matte, noise[2], noise[0], settings.grain, alone=alone)
    pixels = compose(background, plate, part.matte.alpha, color_at)
    whole = changed.plate
    return replace(
        changed,
        plate=Plate(
            ready.background,
            _put(whole.beneath, plate.beneath, target, wide, near),
            _put(whole.divided, plate.divided, target, wide, near),
            _put(whole.touched, plate.touched, target, wide, near),
        ),
        pixels=_put(changed.pixels, pixels, target, wide, near),
        sources=_put(changed.sources, source_map(plate, part.matte.alpha), target, wide, near),
    )


def _widened(window: Window, reach: int, shape: tuple[int, ...]) -> Window:
    rows, columns = window
    return (
        slice(max(rows.start - reach, 0), min(rows.stop + reach, shape[0])),
        slice(max(columns.start - reach, 0), min(columns.stop + reach, shape[1])),
    )


def _cut(merged: Merged, window: Window) -> Merged:
    groups = tuple(
        replace(group, share=group.share[window], rim=group.rim.within(window))
        for group in merged.groups
    )
    matte = merged.matte
    return replace(
        merged,
        matte=Matte(matte.alpha[window], matte.color[window], matte.searched[window]),
        aligned=merged.aligned[window],
        covered=merged.covered[window],
        sitter=merged.sitter[window],
        groups=groups,
    )


def _put(whole: Any, part: Any, target: Window, wide: Window, near: Bool) -> Any:
    """Return a copy of an array, near parts of the target window taken from a cut at `wide`."""
    rows, columns = target
    inner = (
        slice(rows.start - wide[0].start, min(rows.stop, wide[0].stop) - wide[0].start),
        slice(columns.start - wide[1].start, min(columns.stop, wide[1].stop) - wide[1].start),
    )
    copy = whole.copy()
    copy[target][near] = part[inner][near]
    return copy
