"""What a stroke changes in a small merge: the matte where it was painted, the veil around it.

A merge from the beginning takes many seconds even at screen size.  A stroke changes only where the
foreground is searched, so alignment, light, blur and discs stay, and matte, plate and composite are
worked out again in a window around the paint.  The merge in full starts from the beginning.
"""

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Any

import cv2
import numpy as np

from blendkit.blending import BoughGroup, Plate
from blendkit.blending.compose import compose, source_map
from blendkit.blending.finish import color_with_grain, plate_with_grain
from blendkit.blending.plate import make_plate
from blendkit.blending.rerender import rerender
from blendkit.blending.veil import make_veil
from blendkit.frame import Bool, Float
from blendkit.hints import Hints
from blendkit.masks import Matte
from blendkit.masks.find import find_matte
from blendkit.masks.region import search_region
from blendkit.merge import Merged
from blendkit.sharpness.relative import filled

_RIM_PX = 12
Window = tuple[slice, slice]


@dataclass(frozen=True, eq=False, slots=True)
class Painted:
    """A small merge and the paint that it was made with.

    background: the background frame's pixels, float32 (height, width, 3).
    """

    background: Float
    merged: Merged
    hints: Hints


def repaint(base: Painted, hints: Hints, check: Callable[[], None] = lambda: None) -> Painted:
    """Return the small merge with other paint.

    check : called between steps; may raise to end the work.
    """
    merged = base.merged
    softness = filled(merged.blur, merged.matte.alpha.shape[::-1])
    before, after = (_region(merged, softness, h) for h in (base.hints, hints))
    paint = _paint_differs(base.hints, hints, before.shape)
    changed = paint | (after & ~before) | ((merged.matte.alpha > 0) & ~after)
    if not changed.any():
        return Painted(base.background, merged, hints)
    check()
    window = _around(changed, _RIM_PX)
    matte = _matte_in(base, after, changed, window)
    check()
    reach = round(_reach_px(merged, softness))
    target = _around(changed, _RIM_PX + reach)
    return Painted(base.background, _composed(base, matte, softness, target, reach), hints)


def _region(merged: Merged, softness: Float, hints: Hints) -> Bool:
    return search_region(merged.covered, softness, merged.sitter, hints)


def _paint_differs(one: Hints, other: Hints, shape: tuple[int, ...]) -> Bool:
    differs = np.zeros(shape, np.bool_)
    for name in ("front_strokes", "back_strokes"):
        masks = [getattr(hints, name) for hints in (one, other)]
        first, second = (np.zeros(shape, np.float32) if m is None else m for m in masks)
        differs |= first != second
    return differs


def _around(region: Bool, rim_px: int) -> Window:
    rows, columns = np.flatnonzero(region.any(axis=1)), np.flatnonzero(region.any(axis=0))
    return (
        slice(max(int(rows[0]) - rim_px, 0), int(rows[-1]) + rim_px + 1),
        slice(max(int(columns[0]) - rim_px, 0), int(columns[-1]) + rim_px + 1),
    )


def _matte_in(base: Painted, region: Bool, changed: Bool, window: Window) -> Matte:
    """Search the matte again where paint changed; elsewhere it stays, as far as it may."""
    merged = base.merged
    here = np.zeros_like(region)
    here[window] = True
    grain = merged.noise[1].at_middle_grey
    found = find_matte(base.background, merged.aligned, region & here, grain, merged.settings.matte)
    near = cv2.dilate(changed.astype(np.uint8), np.ones((5, 5), np.uint8)) > 0
    alpha = np.where(near, found.alpha, merged.matte.alpha) * region
    color = merged.matte.color.copy()
    taken = near & (found.alpha > 0)
    color[taken] = found.color[taken]
    return Matte(np.asarray(alpha, np.float32), color, region)


def _reach_px(merged: Merged, softness: Float) -> float:
    """Return how far from a change of the matte the plate can change."""
    shifts = [max(map(abs, group.shift_px)) + group.disc_px / 2 for group in merged.groups]
    return max([*shifts, float(softness.max()) / 2, 1.0]) + 2


def _composed(base: Painted, matte: Matte, softness: Float, target: Window, reach: int) -> Merged:
    """Return the merge with plate and composite worked out again in the target window."""
    merged = base.merged
    wide = _widened(target, reach, matte.alpha.shape)
    part = _cut(merged, matte, wide)
    soft = np.maximum(softness[wide], 0)
    keep = (1 - part.matte.alpha) * part.covered
    rendered, mass = rerender(part.aligned, keep, soft)
    veil = make_veil(part.matte.alpha, part.matte.color, part.groups)
    plate = make_plate(
        base.background[wide], veil, rendered, mass, part.sitter, merged.settings.plate
    )
    grain = merged.settings.grain
    plate = plate_with_grain(plate, veil, softness[wide], merged.noise[0].sigma, grain)
    noise = merged.noise
    color = color_with_grain(
        part.matte.color, part.matte.alpha, noise[1].sigma, noise[0].sigma, grain
    )
    pixels = compose(base.background[wide], plate, part.matte.alpha, color)
    sources = source_map(plate, part.matte.alpha)
    return replace(
        merged,
        matte=matte,
        plate=Plate(
            _put(merged.plate.pixels, plate.pixels, target, wide),
            _put(merged.plate.divided, plate.divided, target, wide),
            _put(merged.plate.touched, plate.touched, target, wide),
        ),
        pixels=_put(merged.pixels, pixels, target, wide),
        sources=_put(merged.sources, sources, target, wide),
    )


def _widened(window: Window, reach: int, shape: tuple[int, ...]) -> Window:
    rows, columns = window
    return (
        slice(max(rows.start - reach, 0), min(rows.stop + reach, shape[0])),
        slice(max(columns.start - reach, 0), min(columns.stop + reach, shape[1])),
    )


def _cut(merged: Merged, matte: Matte, window: Window) -> Merged:
    groups = tuple(
        BoughGroup(group.share[window], group.disc_px, group.shift_px) for group in merged.groups
    )
    return replace(
        merged,
        matte=Matte(matte.alpha[window], matte.color[window], matte.searched[window]),
        aligned=merged.aligned[window],
        covered=merged.covered[window],
        sitter=merged.sitter[window],
        groups=groups,
    )


def _put(whole: Any, part: Any, target: Window, wide: Window) -> Any:
    """Return a copy of an array whose target window is taken from a part cut out at `wide`."""
    rows, columns = target
    inner = (
        slice(rows.start - wide[0].start, min(rows.stop, wide[0].stop) - wide[0].start),
        slice(columns.start - wide[1].start, min(columns.stop, wide[1].stop) - wide[1].start),
    )
    copy = whole.copy()
    copy[target] = part[inner]
    return copy
