"""The merge of one pair, stage by stage, on arrays.  Reads like a table of contents.

Nothing here touches the disk: `blendkit.files` reads the frames, `blendkit.report` writes what
comes out.
"""

from dataclasses import dataclass

import numpy as np

from blendkit.alignment import Alignment, Light
from blendkit.alignment.photometric import apply_light, fit_light, typical_gain
from blendkit.alignment.warp import warp_to_background
from blendkit.blending import BoughGroup, Plate
from blendkit.blending.aperture import check_f_numbers
from blendkit.blending.compose import compose, source_map
from blendkit.blending.finish import color_with_grain, plate_with_grain
from blendkit.clock import Stopwatch
from blendkit.explain import Laid, at_f_numbers, explained
from blendkit.frame import Bool, Float, Frame, Label, Progress, no_progress
from blendkit.hints import Hints
from blendkit.masks import Matte
from blendkit.masks.edges import edge_disc_px
from blendkit.masks.find import find_matte, given_matte
from blendkit.masks.region import search_region
from blendkit.masks.sitter import find_sitter, protected
from blendkit.masks.zones import zone_map
from blendkit.midground import Flag, ResultBlur
from blendkit.midground.checks import (
    clipped,
    not_covered,
    soft_foreground,
    unplaced_zones,
)
from blendkit.midground.frame_checks import (
    grain_step,
    light_step,
    moved_places,
    shaken,
    veil_remains,
)
from blendkit.midground.soft_ground import soft_midground, surface_seams
from blendkit.settings import MergeSettings
from blendkit.sharpness import RelativeBlur
from blendkit.sharpness.noise import NoiseModel, measure_noise
from blendkit.sharpness.relative import filled, relative_blur
from blendkit.steps import aligned_by, clear_frame, clipped_at, measured_blur, near

_SHARPER_PX = 2.0
"""Disc from which the background frame is taken for the sharper one behind: less is measurement."""


@dataclass(frozen=True, eq=False, slots=True)
class Merged:
    """The result of a merge, all on the background frame's grid.

    pixels: float32 (height, width, 3), linear, in the background frame's light.
    sources: uint8 (height, width), values of `frame.Source`.
    aligned: the foreground frame on this grid, in this light; covered: where it reaches.
    groups: boughs with a blur disc each; sitter: what stays the background frame's.
    zones: numbered zones, see `masks.zones`.
    noise: of the background frame, of `aligned` (resampling dulls it), of the foreground frame
    itself in this light.
    result_blur: the result's own blur; None where it was not measured.
    """

    pixels: Float
    sources: Label
    alignment: Alignment
    light: Light
    blur: RelativeBlur
    matte: Matte
    groups: tuple[BoughGroup, ...]
    plate: Plate
    aligned: Float
    covered: Bool
    sitter: Float
    zones: Label
    noise: tuple[NoiseModel, NoiseModel, NoiseModel]
    flags: tuple[Flag, ...]
    settings: MergeSettings
    time_s: dict[str, float]
    result_blur: ResultBlur | None = None


def merge_pair(
    background: Frame,
    foreground: Frame,
    *,
    hints: Hints | None = None,
    settings: MergeSettings | None = None,
    progress: Progress = no_progress,
) -> Merged:
    """Merge a pair: the foreground frame's sharp foreground over the cleared background frame.

    Parameters
    ----------
    background, foreground : Frame
        Linear light, of one size.
    hints : Hints
        What the user painted or knows; nothing by default.
    settings : MergeSettings
    progress : callable
        Told (stage, share done); whatever it raises ends the merge.

    Returns
    -------
    Merged

    Raises
    ------
    AlignmentError
        The frames do not lie on each other.
    InputError
        The frames or masks differ in size.
    """
    hints, settings = hints or Hints(), settings or MergeSettings()
    hints.check(background, foreground)
    captures = background.capture, foreground.capture
    check_f_numbers(settings.aperture, captures)
    watch = Stopwatch(progress)
    with watch("alignment"):
        alignment = aligned_by(background, foreground, hints, settings)
        moved = warp_to_background(foreground.pixels, alignment.matrix, background.size)
    with watch("light"):
        clipped_b = clipped_at(background, background.pixels, np.eye(3))
        clipped_f = clipped_at(foreground, moved.pixels, alignment.matrix)
        painted = hints.painted(background.size)
        free = moved.footprint & ~clipped_b & ~clipped_f & ~painted
        light = fit_light(
            background, moved.pixels, free, settings.light, recorded=foreground.capture
        )
        aligned = apply_light(moved.pixels, light)
    with watch("sharpness"):
        noise = measure_noise(background.pixels), measure_noise(aligned)
        own_noise = measure_noise(foreground.pixels).in_light(typical_gain(light))
        grain = noise[0].at_middle_grey, noise[1].at_middle_grey
        blur = relative_blur(background.pixels, aligned, free, settings.sharpness, grain=grain)
    with watch("matte"):
        softness = filled(blur, background.size)
        sitter = protected(find_sitter(background.pixels, aligned, blur, grain[1]), painted)
        region = search_region(moved.footprint, softness, sitter, hints)
        matte = _matte(
            background.pixels, aligned, moved.footprint, region, hints, noise[1], settings
        )
        if hints.foreground_mask is None:
            # What nobody painted was measured with the rest; the background's own disc is wanted.
            bare = free & ~near(matte.alpha > 0)
            blur = relative_blur(background.pixels, aligned, bare, settings.sharpness, grain=grain)
            softness = filled(blur, background.size)
    with watch("plate"):
        clear, clear_flags = clear_frame(background, hints, settings)
        laid = Laid(
            background.pixels,
            aligned,
            moved.footprint,
            np.maximum(softness, 0),
            np.where(softness < -_SHARPER_PX, -softness, 0).astype(np.float32),
            sitter,
            np.maximum(sitter, clipped_b | clipped_f | ~moved.footprint),
            clipped_b & ~near(clipped_f),
            clear,
        )
        given, hand = hints.matte is not None, hints.foreground_mask is not None
        view = explained(laid, matte, region, grain[1], settings, known=given, painted=hand)
        matte = view.matte
        shared = moved.footprint & ~clipped_b & ~clipped_f
        blur_after = measured_blur(background, foreground, aligned, shared, matte, noise, settings)
        own_disc_px = edge_disc_px(aligned, matte.alpha)
        shown, plate = at_f_numbers(
            laid, view, captures, own_disc_px or 0, blur_after.lens.gap_px, settings
        )
    with watch("composite"):
        plate = plate_with_grain(plate, view.veil, softness, noise[0].sigma, settings.grain)
        color = color_with_grain(
            shown.color, shown.alpha, own_noise.sigma, noise[0].sigma, settings.grain
        )
        pixels = compose(background.pixels, plate, shown.alpha, color)
        sources = source_map(plate, shown.alpha)
    with watch("checks"):
        still = shared & ~plate.touched & (matte.alpha <= 0)
        flags = (
            *clear_flags,
            *unplaced_zones(view.unplaced),
            *not_covered(moved.footprint),
            *clipped(clipped_b, clipped_f),
            *soft_foreground(foreground, matte.alpha, own_disc_px),
            *soft_midground(blur_after, matte.alpha, settings.viewing, captures),
            *light_step(background.pixels, aligned, surface_seams(blur_after, matte.alpha)),
            *grain_step(grain, matte.alpha, matched=settings.grain.match),
            *shaken(background.pixels, aligned, grain, still, captures),
            *veil_remains(plate.pixels, view.veil.coverage, matte.alpha, plate.touched),
            *moved_places(background.pixels, aligned, still, alignment.residual_px),
        )
    return Merged(
        pixels=pixels,
        sources=sources,
        alignment=alignment,
        light=light,
        blur=blur,
        matte=shown,
        groups=view.groups,
        plate=plate,
        aligned=aligned,
        covered=moved.footprint,
        sitter=sitter,
        zones=zone_map(matte.alpha, sitter, view.unplaced),
        noise=(*noise, own_noise),
        flags=flags,
        settings=settings,
        time_s=watch.time_s,
        result_blur=blur_after,
    )


def _matte(
    background: Float,
    aligned: Float,
    footprint: Bool,
    region: Bool,
    hints: Hints,
    noise: NoiseModel,
    settings: MergeSettings,
) -> Matte:
    if hints.matte is not None:
        return given_matte(aligned, np.asarray(hints.matte * footprint, np.float32))
    strokes = (hints.front_strokes, hints.back_strokes)
    grain = noise.at_middle_grey
    painted = hints.foreground_mask is not None
    return find_matte(
        background, aligned, region, grain, settings.matte, painted=painted, strokes=strokes
    )
