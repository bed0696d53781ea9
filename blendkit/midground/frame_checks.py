"""Flags of the frames and of the pair: moved, steps of light and grain."""

from collections.abc import Iterator

import cv2
import numpy as np

from blendkit.filters.bands import band_pass, gaussian
from blendkit.filters.resample import any_in_cells, reduce_by, share_in_cells
from blendkit.frame import Bool, Float, luminance
from blendkit.midground import Flag, Severity
from blendkit.midground.soft_ground import at_full_size

_LIGHT_STEP_EV = (0.1, 0.2, 0.45)
_WIDTH_PX = 4.0
"""A light's width on each side of a seam, px, that a reduced picture still holds."""
_ALIKE = 0.4
_GRAIN_RATIO = (1.5, 2.5)


def light_step(background: Float, aligned: Float, seam: Bool) -> Iterator[Flag]:
    """Flag a seam of the foreground across which the two frames differ in light.

    seam: bool (height, width), where the matte ends inside a surface that both frames show; at a
        bough's edge they show different things.
    """
    if seam.sum() < 0.02 * max(seam.shape):
        return
    width = 0.006 * max(seam.shape)
    factor = max(int(width / _WIDTH_PX), 1)
    along = any_in_cells(seam, factor)
    one, other = (
        gaussian(luminance(reduce_by(frame, factor)), width / factor)
        for frame in (background, aligned)
    )
    steps = np.log2((other[along] + 1e-3) / (one[along] + 1e-3))
    step = float(np.median(steps))
    spread = float(np.median(np.abs(steps - step)))
    if abs(step) < max(_LIGHT_STEP_EV[0], 2 * spread):
        return
    levels = sum(abs(step) >= limit for limit in _LIGHT_STEP_EV)
    severity: Severity = ("note", "warn", "fail")[levels - 1]
    yield Flag(
        "light-step",
        severity,
        seam,
        f"the foreground frame is {abs(step):.2f} EV "
        f"{'lighter' if step > 0 else 'darker'} at the seam",
        "take both frames in the same light, without flash in one of them",
    )


def grain_step(noise_sigma: tuple[float, float], alpha: Float, *, matched: bool) -> Iterator[Flag]:
    """Flag pasted foreground whose grain differs from its surroundings'."""
    if matched or float((alpha > 0.5).mean()) < 1e-3:
        return
    ratio = max(noise_sigma[1], 1e-6) / max(noise_sigma[0], 1e-6)
    strength = max(ratio, 1 / ratio)
    if strength < _GRAIN_RATIO[0]:
        return
    yield Flag(
        "grain-step",
        "warn" if strength >= _GRAIN_RATIO[1] else "note",
        np.asarray(alpha > 0.5),
        f"the foreground's grain is {ratio:.1f} times the background frame's",
        "let the grain be matched",
    )


def moved_places(
    background: Float, aligned: Float, usable: Bool, residual_px: float
) -> Iterator[Flag]:
    """Flag places that stand elsewhere in the other frame: what moved between the exposures.

    Blocks of a thin band are searched around their own place by normalised correlation; a block
    counts if it fits badly where it should be and well a few px beside it.
    """
    factor = max(round(max(usable.shape) / 600), 1)
    share = share_in_cells(usable, factor)
    bands = [band_pass(luminance(reduce_by(p, factor)), 1.5, 4.0) for p in (background, aligned)]
    side, reach = 40, 10
    region = np.zeros(share.shape, np.bool_)
    steps = []
    for top in range(reach, share.shape[0] - side - reach, side // 2):
        for left in range(reach, share.shape[1] - side - reach, side // 2):
            block = slice(top, top + side), slice(left, left + side)
            if share[block].min() < 0.9:
                continue
            step = _displaced(bands, top, left, side, reach)
            if step * factor > max(3.0, 4 * residual_px):
                region[block] = True
                steps.append(step * factor)
    if len(steps) < 3:
        return
    size = (usable.shape[1], usable.shape[0])
    yield Flag(
        "moved",
        "warn",
        at_full_size(region, factor, size),
        f"something moved by about {np.median(steps):.0f} px between the frames",
        "check its edges at full size; paint it as background to keep it from one frame",
    )


def _displaced(bands: list[Float], top: int, left: int, side: int, reach: int) -> float:
    """Return how far a block lies elsewhere in the other frame, px; 0 = it does not, or unclear."""
    block = bands[0][top : top + side, left : left + side]
    around = bands[1][top - reach : top + side + reach, left - reach : left + side + reach]
    # Where one frame is soft its band holds chance, and chance is found somewhere.
    if not _ALIKE < float(block.std()) / max(float(around.std()), 1e-9) < 1 / _ALIKE:
        return 0.0
    match = cv2.matchTemplate(around, np.ascontiguousarray(block), cv2.TM_CCOEFF_NORMED)
    here = float(match[reach - 1 : reach + 2, reach - 1 : reach + 2].max())
    best = float(match.max())
    if here > 0.5 or best < 0.85:
        return 0.0
    row, column = np.unravel_index(int(np.argmax(match)), match.shape)
    return float(np.hypot(row - reach, column - reach))
