"""Steps of the merge that need more than one stage and have no picture of the whole."""

from dataclasses import replace

import cv2
import numpy as np

from blendkit.alignment import Alignment
from blendkit.alignment.estimate import align, given_alignment
from blendkit.alignment.photometric import apply_light, fit_light
from blendkit.alignment.warp import warp_to_background
from blendkit.errors import AlignmentError
from blendkit.filters.channels import channel_max
from blendkit.frame import Bool, Float, Frame, Matrix, Warped
from blendkit.hints import Hints
from blendkit.masks import Matte
from blendkit.midground import Flag, ResultBlur
from blendkit.midground.checks import clear_not_used
from blendkit.midground.result_blur import result_blur
from blendkit.settings import MergeSettings
from blendkit.sharpness.noise import NoiseModel
from blendkit.sharpness.relative import relative_blur


def aligned_by(
    background: Frame, foreground: Frame, hints: Hints, settings: MergeSettings
) -> Alignment:
    """Return where the foreground frame lies, as the user says or as it is found."""
    if hints.aligned:
        return given_alignment(np.eye(3), background.size)
    return align(background.pixels, foreground.pixels, settings.alignment, ties=hints.ties)


def clipped_at(frame: Frame, on_grid: Float, matrix: Matrix) -> Bool:
    """Return where a frame held no more light, on the background grid.

    A RAW knows where its sensor was full; other files are judged by their level.
    """
    full = channel_max(on_grid) >= frame.clip_level
    if frame.clipped is not None:
        size = (on_grid.shape[1], on_grid.shape[0])
        moved = warp_to_background(frame.clipped.astype(np.float32), matrix, size)
        full |= moved.pixels > 0.01
    return np.asarray(full, np.bool_)


def near(region: Bool) -> Bool:
    """Return a region with the pixels beside it."""
    return cv2.dilate(region.astype(np.uint8), np.ones((5, 5), np.uint8)) > 0


def clear_frame(
    background: Frame, hints: Hints, settings: MergeSettings
) -> tuple[Warped | None, tuple[Flag, ...]]:
    """Return the clear frame on the background grid in its light, or a flag that says why not."""
    frame = hints.clear
    if frame is None:
        return None, ()
    try:
        found = aligned_by(background, frame, replace(hints, ties=()), settings)
    except AlignmentError as error:
        return None, tuple(clear_not_used(frame, str(error)))
    moved = warp_to_background(frame.pixels, found.matrix, background.size)
    full = clipped_at(background, background.pixels, np.eye(3))
    full |= clipped_at(frame, moved.pixels, found.matrix)
    free = moved.footprint & ~full
    light = fit_light(background, moved.pixels, free, settings.light, recorded=frame.capture)
    return Warped(apply_light(moved.pixels, light), moved.footprint), ()


def measured_blur(
    background: Frame,
    foreground: Frame,
    aligned: Float,
    shared: Bool,
    matte: Matte,
    noise: tuple[NoiseModel, NoiseModel],
    settings: MergeSettings,
) -> ResultBlur:
    """Measure the blur of the result; shared: where both frames hold light."""
    grain = noise[0].at_middle_grey, noise[1].at_middle_grey
    blur = relative_blur(background.pixels, aligned, shared, settings.sharpness, grain=grain)
    return result_blur(
        (background.pixels, aligned),
        (noise[0].sigma, noise[1].sigma),
        (blur.disc_px, blur.confidence, blur.factor),
        matte.alpha,
        (background.capture, foreground.capture),
    )
