"""A third look at the matte, where it was sought: what the second look left half is settled.

The second look judges places of some px at half the size, and where it is in doubt a twig stays
half transparent.  A small network at twice that size sees both mattes, before and after, the chance
that lies between them, the foreground frame S, a sketch of the plate P and the foreground's colour
F, and answers with a better matte.  It was trained on what the first two looks made of simulated
pairs, so it also knows where they err at edges.  On drawn twigs the plate hardly moves its answer
(tests/masks/test_masks_third_look.py): what S says against P is left to `masks.plate_term`.

It works where discs are sought, at some 1200 px.  What it changes is carried to the full size as a
share of what was covered or open there, so edges keep the place that they were given there.

Training script, seeds and held-out figures: tests/bench/matte_training.
"""

from dataclasses import dataclass

import cv2
import numpy as np

from blendkit.filters.resample import enlarged_part
from blendkit.filters.threads import each_part
from blendkit.filters.tiles import Window, boxes, inside, tiles
from blendkit.frame import Bool, Float
from blendkit.masks.evidence import exposure_scale, grain_plane, least_coverage
from blendkit.masks.network import run_network
from blendkit.memory import lean_copy

PLANES = 17
"""sqrt light of foreground frame, plate and foreground's colour (3 each), matte kept and proposed,
chance, coverage of the veil, least coverage, softness, grain, where it may change."""
MATTE, OPEN = 9, 16
_REACH_PX = 30
_THERE = 0.02
_TILE, _MARGIN = 512, 48
_FULL_TILE = 384
_NEARLY_NONE = 1e-3


@dataclass(frozen=True, eq=False, slots=True)
class Seen:
    """What the third look sees, all of one size, linear light, float32.

    aligned, plate, color: foreground frame, plate and straight foreground colour, (height, width,
    3).  kept, proposed: matte after and before the second look, (height, width), as are the rest.
    chance: of the second look.  coverage: of the veil.  softness: the background's disc, px.
    """

    aligned: Float
    plate: Float
    color: Float
    kept: Float
    proposed: Float
    chance: Float
    coverage: Float
    softness: Float


def third_look(seen: Seen, region: Bool, grain: float) -> Float:
    """Return the matte with what the second look left half settled.

    Parameters
    ----------
    seen : Seen
    region : ndarray
        bool (height, width), where the matte may change.
    grain : float
        Noise of `seen.aligned` at middle grey, linear standard deviation.

    Returns
    -------
    ndarray
        float32 (height, width), 0 to 1.
    """
    open_ = opened(seen, region)
    result = lean_copy(seen.kept)
    scale = exposure_scale(seen.plate)

    def look(part: tuple[Window, Window]) -> None:
        own, near = part
        found = run_network("third_net.onnx", third_planes(seen, open_, near, grain, scale))
        np.copyto(result[own], found[0][inside(own, near)], where=open_[own])

    each_part(look, boxes(open_, _TILE, _MARGIN))
    result[result < _THERE] = 0
    return result


def opened(seen: Seen, region: Bool) -> Bool:
    """Return where the matte is asked again, bool (height, width): around what was proposed."""
    reach = np.ones((2 * _REACH_PX + 1, 2 * _REACH_PX + 1), np.uint8)
    around = cv2.dilate((seen.proposed > _THERE).astype(np.uint8), reach) > 0
    return np.asarray(region & around, np.bool_)


def third_planes(seen: Seen, open_: Bool, part: Window, grain: float, scale: float) -> Float:
    """Stack what the network looks at in a part, float32 (PLANES, height, width).

    scale: from `exposure_scale`.  The rest as for `third_look`.
    """
    planes = np.empty((PLANES, *open_[part].shape), np.float32)
    for first, pixels in ((0, seen.aligned), (3, seen.plate), (6, seen.color)):
        root = np.sqrt(np.clip(pixels[part] * np.float32(scale), 0, 4))
        planes[first : first + 3] = np.moveaxis(root, 2, 0) - 0.5
    for index, values in enumerate((seen.kept, seen.proposed, seen.chance, seen.coverage), MATTE):
        planes[index] = values[part] - 0.5
    planes[13] = least_coverage(seen.aligned[part], seen.plate[part])
    planes[14] = np.log1p(seen.softness[part]) / 4 - 0.5
    planes[15] = grain_plane(grain, scale)
    planes[OPEN] = open_[part]
    return planes


def carried_over(alpha: Float, before: Float, after: Float, factor: int) -> Float:
    """Return a full-size matte changed as its reduced copy was.

    What is covered shrinks by the share by which it shrank there; what is open, by which that did.

    Parameters
    ----------
    alpha : ndarray
        float32 (height, width).
    before, after : ndarray
        The reduced matte, float32, as it was and as it is to be.
    factor : int
        By which it was reduced.

    Returns
    -------
    ndarray
        float32 (height, width), 0 to 1.

    Examples
    --------
    >>> alpha, before = np.array([[1, 0]], np.float32), np.array([[0.5]], np.float32)
    >>> carried_over(alpha, before, np.array([[0.25]], np.float32), 2)
    array([[0.5, 0. ]], dtype=float32)
    >>> carried_over(alpha, before, np.array([[0.75]], np.float32), 2)
    array([[1. , 0.5]], dtype=float32)
    """
    if factor == 1:
        return after
    open_before, open_after = 1 - before, 1 - after
    changed = lean_copy(alpha)

    def carry(part: tuple[Window, Window]) -> None:
        own, _ = part
        # A place is interpolated from the cells beside its own as well.
        cells = tuple(slice(max(p.start // factor - 1, 0), -(-p.stop // factor) + 1) for p in own)
        if np.array_equal(before[cells], after[cells]):
            return
        less = _share_left(before, after, factor, own)
        more = _share_left(open_before, open_after, factor, own)
        changed[own] = 1 - (1 - alpha[own] * less) * more

    each_part(carry, tiles(alpha.shape, _FULL_TILE, 0))
    return changed


def _share_left(before: Float, after: Float, factor: int, own: Window) -> Float:
    """Return after / before in a part at full size, at most 1.

    Both are interpolated first: a share of nothing, interpolated, would eat into what lies beside.
    """
    was = enlarged_part(before, factor, own)
    left = enlarged_part(np.minimum(before, after), factor, own)
    share = np.divide(left, was, out=np.ones_like(was), where=was > _NEARLY_NONE)
    return np.asarray(share, np.float32)
