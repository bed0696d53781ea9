"""Lends what was painted for one pair to the other pairs of its set-up.

What was painted follows the boughs.  So it goes from the lender's background frame to its
foreground frame, from there to the borrower's foreground frame, and on to the borrower's grid.
The sitter does not follow the boughs: what was painted on or around him stays behind, on the
lender's pose and on the borrower's.
"""

from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import cv2
import numpy as np

from blendkit.alignment.estimate import align
from blendkit.alignment.photometric import fit_light
from blendkit.alignment.relight import apply_light
from blendkit.alignment.warp import warp_to_background
from blendkit.batch.pairs_file import Pair
from blendkit.errors import AlignmentError
from blendkit.files import prefer_raws, read_frame, read_mask
from blendkit.filters.resample import enlarge, matrix_at_reduced_scale, reduce_by
from blendkit.frame import Float, Frame, Matrix
from blendkit.hints import Hints
from blendkit.masks.sitter import find_sitter
from blendkit.masks.strokes import rasterise
from blendkit.report.inputs import Pair as ReadPair
from blendkit.report.inputs import read_strokes
from blendkit.settings import AlignmentSettings, LightSettings, SharpnessSettings
from blendkit.sharpness.noise import measure_noise
from blendkit.sharpness.relative import relative_blur
from blendkit.sidecar import Sidecar, read_sidecar, sidecar_path

_WORKING_PX = 1000
"""Masks are painted 10 to 20 px too wide at full size: a fit at this size is fine enough."""

_AROUND_SITTER = 0.03
"""Kept free around the sitter, of the long side."""


def lent_hints(
    lender: Pair, output: Path | None, pair: ReadPair, hints: Hints
) -> tuple[Hints, tuple[str, ...]]:
    """Return hints with what was painted for another pair of the set-up, and a note on it.

    lender : the other pair; output : its result, beside which its sidecar lies.
    """
    frames, _ = prefer_raws((lender.background, lender.foreground))
    first = read_frame(frames[0])
    if first.size != pair.background.size:
        return hints, ()
    if _sidecar(output).size not in (None, first.size):
        return hints, (f"nothing is lent by {lender.name}: it was painted at another size",)
    painted = _painted(lender, output, first.size)
    if not painted:
        return hints, ()
    second = read_frame(frames[1], match=first)
    try:
        one, other = _laid(first, second), _laid(pair.background, pair.foreground)
        between = _between(pair.foreground, second)
    except AlignmentError:
        return hints, (f"what was painted for {lender.name} could not be laid on this pair",)
    to_lender = np.linalg.inv(one.matrix) @ between @ other.matrix
    # 1 where neither sitter is, on the borrower's grid
    free = (1 - _moved(one.sitter, to_lender)) * (1 - other.sitter)
    lent: dict[str, Any] = {kind: _moved(mask, to_lender) * free for kind, mask in painted.items()}
    return replace(hints, **lent), (f"uses what was painted for {lender.name}",)


def _painted(lender: Pair, output: Path | None, size: tuple[int, int]) -> dict[str, Float]:
    found: dict[str, Float | None] = {}
    for kind in ("foreground_mask", "background_mask"):
        path = getattr(lender, kind)
        found[kind] = None if path is None else read_mask(path, size=size)
    sidecar = _sidecar(output)
    strokes = sidecar.strokes
    if sidecar.size is None and lender.strokes is not None:  # else all were erased on the page
        strokes = read_strokes(lender.strokes, size)
    drawn = rasterise(strokes, size)
    found |= {"front_strokes": drawn.foreground, "back_strokes": drawn.background}
    return {kind: mask for kind, mask in found.items() if mask is not None}


def _sidecar(output: Path | None) -> Sidecar:
    return Sidecar() if output is None else read_sidecar(sidecar_path(output))


@dataclass(frozen=True, eq=False, slots=True)
class _Laid:
    """A pair laid on itself: background px to foreground px, and its sitter, widened."""

    matrix: Matrix
    sitter: Float


def _laid(background: Frame, foreground: Frame) -> _Laid:
    factor = max(round(max(background.size) / _WORKING_PX), 1)
    one, other = (reduce_by(frame.pixels, factor) for frame in (background, foreground))
    matrix = align(one, other, AlignmentSettings()).matrix
    moved = warp_to_background(other, matrix, (one.shape[1], one.shape[0]))
    small = replace(background, pixels=one, clipped=None)
    light = fit_light(small, moved.pixels, moved.footprint, LightSettings())
    aligned = apply_light(moved.pixels, light)
    blur = relative_blur(one, aligned, moved.footprint, SharpnessSettings())
    grain = measure_noise(aligned).at_middle_grey
    sitter = _widened(find_sitter(one, aligned, blur, grain).kept)
    full = enlarge(sitter, factor, background.size)
    return _Laid(matrix_at_reduced_scale(matrix, 1 / factor), full)


def _between(borrower: Frame, lender: Frame) -> Matrix:
    """Return where the lender's foreground frame lies: borrower's px to lender's px."""
    if np.array_equal(borrower.pixels, lender.pixels):
        return np.eye(3)
    factor = max(round(max(borrower.size) / _WORKING_PX), 1)
    one, other = (reduce_by(frame.pixels, factor) for frame in (borrower, lender))
    return matrix_at_reduced_scale(align(one, other, AlignmentSettings()).matrix, 1 / factor)


def _widened(sitter: Float) -> Float:
    reach = 2 * round(_AROUND_SITTER * max(sitter.shape) / 2) + 1
    wide = cv2.dilate((sitter > 0.5).astype(np.float32), np.ones((reach, reach), np.uint8))
    return np.asarray(wide, np.float32)


def _moved(mask: Float, matrix: Matrix) -> Float:
    """Return a mask sampled at matrix @ x; 0 beyond its rim."""
    size = (mask.shape[1], mask.shape[0])
    flags = cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP
    return np.asarray(
        np.clip(cv2.warpPerspective(mask, matrix, size, flags=flags), 0, 1), np.float32
    )
