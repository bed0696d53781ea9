"""Steps of the merge that need more than one stage and have no picture of the whole."""

from dataclasses import dataclass, replace

import cv2
import numpy as np

from blendkit.alignment import Alignment, Light
from blendkit.alignment.content import PAIR
from blendkit.alignment.estimate import align, given_alignment
from blendkit.alignment.photometric import fit_light
from blendkit.alignment.pose import following_background
from blendkit.alignment.relight import apply_light, typical_gain
from blendkit.alignment.warp import covered_box, warp_to_background
from blendkit.errors import AlignmentError, InputError
from blendkit.filters.channels import channel_max
from blendkit.filters.threads import each_part
from blendkit.filters.tiles import Window, tiles
from blendkit.frame import Bool, Float, Frame, Matrix, Warped
from blendkit.hints import Hints
from blendkit.masks import Matte
from blendkit.midground import Flag, ResultBlur
from blendkit.midground.checks import clear_not_used
from blendkit.midground.result_blur import result_blur
from blendkit.settings import MergeSettings
from blendkit.sharpness import RelativeBlur
from blendkit.sharpness.noise import NoiseModel, measure_noise
from blendkit.sharpness.noise_shape import whiter
from blendkit.sharpness.relative import relative_blur

_TILE = 512
_VEIL_REACH_SHARE = 0.04
"""How far from its boughs a veil may lie, of the long side: half a disc of 100 px at 1200."""
_PAINTED_REACH_SHARE = 0.02
"""The same from what is painted, which reaches past the boughs by itself."""
_LEAST_UNVEILED = 0.03
"""Share of what both frames show that must be left off the veil for light to rest on it: from less
the fall-off runs off in the corners, and all that is seen says more."""
_LEAST_FREE = 0.01
"""Share of what both frames show that must be left unpainted for light and blur to rest on it."""


def aligned_by(
    background: Frame,
    foreground: Frame,
    hints: Hints,
    settings: MergeSettings,
    *,
    names: tuple[str, str] = PAIR,
) -> Alignment:
    """Return where the foreground frame lies, as the user says or as it is found.

    names: what the two are called where one of them cannot be laid on anything.
    """
    if hints.aligned:
        return given_alignment(np.eye(3), background.size)
    found = align(
        background.pixels, foreground.pixels, settings.alignment, ties=hints.ties, names=names
    )
    return following_background(background.pixels, foreground.pixels, found)


def clipped_at(frame: Frame, on_grid: Float, matrix: Matrix) -> Bool:
    """Return where a frame held no more light, on the background grid.

    A RAW knows where its sensor was full; other files are judged by their level.
    """
    full = np.zeros(on_grid.shape[:2], np.bool_)

    def judge(part: tuple[Window, Window]) -> None:
        own, _ = part
        full[own] = channel_max(on_grid[own]) >= frame.clip_level

    each_part(judge, tiles(full.shape, _TILE, 0))
    if frame.clipped is not None:
        size = (on_grid.shape[1], on_grid.shape[0])
        moved = warp_to_background(frame.clipped.astype(np.float32), matrix, size)
        full |= moved.pixels > 0.01
    return full


@dataclass(frozen=True, eq=False, slots=True)
class Lit:
    """The foreground frame on the background grid, in the background frame's light.

    aligned: float32 (height, width, 3), linear.  covered: bool (height, width), where it reaches.
    painted_over: whether foreground was painted all over, so that nothing is left to measure by.
    clipped: bool (height, width), where the background and the foreground frame were full.
    """

    aligned: Float
    covered: Bool
    light: Light
    clipped: tuple[Bool, Bool]
    painted_over: bool = False

    @property
    def shared(self) -> Bool:
        """Where both frames hold light, bool (height, width)."""
        return np.asarray(self.covered & ~self.clipped[0] & ~self.clipped[1], np.bool_)

    def free(self, painted: Bool) -> Bool:
        """Return where both hold light and nobody painted foreground; all, if nothing is left."""
        return self.shared if self.painted_over else self.shared & ~painted


def in_one_light(
    background: Frame,
    foreground: Frame,
    matrix: Matrix,
    painted: Bool,
    settings: MergeSettings,
) -> Lit:
    """Bring the foreground frame to the background frame's place and light: one resampling.

    painted: bool (height, width), what the user painted; light is not measured there, nor in the
        veil beside it.
    """
    moved = warp_to_background(foreground.pixels, matrix, background.size)
    full_b = clipped_at(background, background.pixels, np.eye(3))
    full_f = clipped_at(foreground, moved.pixels, matrix)
    shown = moved.footprint & ~full_b & ~full_f
    _, painted_over = _without(painted, shown)
    unveiled = _unveiled(painted, shown)
    light = fit_light(
        background, moved.pixels, unveiled, settings.light, recorded=foreground.capture
    )
    lit = apply_light(moved.pixels, light)
    return Lit(lit, moved.footprint, light, (full_b, full_f), painted_over)


def _without(painted: Bool, free: Bool) -> tuple[Bool, bool]:
    """Return what is free and not painted, or all that is free if that leaves too little."""
    seen = np.count_nonzero(free)
    if np.count_nonzero(free & ~painted) < _LEAST_FREE * seen:
        return free, True  # what the veil dims is better than nothing
    return free & ~painted, False


def _unveiled(painted: Bool, shown: Bool) -> Bool:
    """Return what both frames show off the paint and the veil beside it; all, if that is little."""
    if not painted.any():
        return shown
    unveiled = shown & ~_reaching(painted, _PAINTED_REACH_SHARE)
    enough = np.count_nonzero(unveiled) >= _LEAST_UNVEILED * np.count_nonzero(shown)
    return unveiled if enough else shown


def _reaching(region: Bool, share: float) -> Bool:
    """Return a region with what lies within a share of the long side of it, both ways."""
    reach = 2 * round(share * max(region.shape)) + 1
    return cv2.dilate(region.astype(np.uint8), np.ones((reach, reach), np.uint8)) > 0


def noise_models(
    background: Frame, foreground: Frame, lit: Lit, matrix: Matrix
) -> tuple[NoiseModel, NoiseModel, NoiseModel]:
    """Return the noise of the background frame, of the aligned frame, of the foreground frame.

    The last is that of the frame as taken, in the background frame's light: resampling dulls noise.
    Both frames are taken to come from one camera and one developer: one shape of grain.
    """
    behind, own = measure_noise(background.pixels), measure_noise(foreground.pixels)
    shape = whiter(behind.shape, own.shape)
    # Beyond what the frame covers its rim is repeated, as quiet as nothing in the picture.
    height, width = lit.covered.shape
    x, y, wide, high = covered_box(matrix, (width, height)) or (0, 0, width, height)
    aligned = measure_noise(lit.aligned[y : y + high, x : x + wide])
    in_light = own.in_light(typical_gain(lit.light))
    return behind.shaped(shape), aligned.shaped(shape), in_light.shaped(shape)


def blur_between(
    background: Frame,
    lit: Lit,
    where: Bool,
    grain: tuple[float, float],
    settings: MergeSettings,
    *,
    graded: bool = False,
) -> RelativeBlur:
    """Measure which frame is softer by which disc; where: bool (height, width), what may tell.

    graded: small discs by degrees, as `relative_blur` says; the limits of the sitter and the plate
        were found without.
    """
    return relative_blur(
        background.pixels, lit.aligned, where, settings.sharpness, grain=grain, graded=graded
    )


def near(region: Bool) -> Bool:
    """Return a region with the pixels beside it."""
    return cv2.dilate(region.astype(np.uint8), np.ones((5, 5), np.uint8)) > 0


def clear_frame(
    background: Frame, hints: Hints, settings: MergeSettings, alpha: Float
) -> tuple[Warped | None, tuple[Flag, ...]]:
    """Return the clear frame on the background grid in its light, or a flag that says why not.

    alpha: the foreground's matte, float32 (height, width).  Around it the background frame is
    veiled and the clear one is not, so light is not measured there.
    """
    frame = hints.clear
    if frame is None:
        return None, ()
    try:
        names = background.name, frame.name
        found = aligned_by(background, frame, replace(hints, ties=()), settings, names=names)
    except AlignmentError as error:
        return None, tuple(clear_not_used(frame, error.reason))
    except InputError:  # the very same picture
        same = f"it holds the same picture as {background.name}"
        return None, tuple(clear_not_used(frame, same))
    moved = warp_to_background(frame.pixels, found.matrix, background.size)
    full = clipped_at(frame, moved.pixels, found.matrix)
    full_b = clipped_at(background, background.pixels, np.eye(3))
    in_front = hints.painted(background.size) | (alpha > 0)
    seen = moved.footprint & ~full_b & ~full
    free, too_little = _without(_reaching(in_front, _VEIL_REACH_SHARE), seen)
    if too_little:
        free, _ = _without(in_front, seen)
    light = fit_light(background, moved.pixels, free, settings.light, recorded=frame.capture)
    # Clipped light brought down to the background frame's exposure would be grey.
    return Warped(apply_light(moved.pixels, light), moved.footprint & ~near(full)), ()


def measured_blur(
    background: Frame,
    foreground: Frame,
    lit: Lit,
    matte: Matte,
    noise: tuple[NoiseModel, ...],
    settings: MergeSettings,
) -> ResultBlur:
    """Measure the blur of the result."""
    grain = noise[0].at_middle_grey, noise[1].at_middle_grey
    blur = blur_between(background, lit, lit.shared, grain, settings, graded=True)
    return result_blur(
        (background.pixels, lit.aligned),
        (noise[0].coarse_sigma, noise[1].coarse_sigma),
        (blur.disc_px, blur.confidence, blur.factor),
        matte.alpha,
        (background.capture, foreground.capture),
    )
