"""The merge of one pair, stage by stage, on arrays.  Reads like a table of contents.

Nothing here touches the disk: `blendkit.files` reads the frames, `blendkit.report` writes what
comes out.
"""

from dataclasses import dataclass, replace

import numpy as np

from blendkit.alignment import Alignment, Light
from blendkit.blending import BoughGroup, Laid, Plate
from blendkit.blending.aperture import check_f_numbers
from blendkit.blending.compose import compose, source_map
from blendkit.blending.finish import color_with_grain, grain_plate
from blendkit.clock import Stopwatch
from blendkit.explain import View, at_f_numbers, explained
from blendkit.frame import Bool, Capture, Float, Frame, Label, Progress, Warped, no_progress
from blendkit.hints import Hints, NearerLine
from blendkit.masks import Matte
from blendkit.masks.beside_sitter import beside, running_on
from blendkit.masks.edges import own_disc_px
from blendkit.masks.find import Found, find_coverage
from blendkit.masks.light_search import find_lights
from blendkit.masks.lights import Lights
from blendkit.masks.pair_focus import refocused
from blendkit.masks.region import search_region
from blendkit.masks.sitter import Sitter, fading, find_sitter, protected
from blendkit.masks.zones import zone_map
from blendkit.midground import Flag, ResultBlur
from blendkit.midground.checks import (
    clipped,
    ends_at_sitter,
    loosely_aligned,
    not_covered,
    nothing_found,
    soft_foreground,
    unplaced_zones,
    veil_on_sitter,
)
from blendkit.midground.focus import missed_focus
from blendkit.midground.frame_checks import (
    grain_step,
    light_step,
    moved_places,
)
from blendkit.midground.shake import shaken
from blendkit.midground.soft_ground import soft_midground, soft_regions, surface_seams
from blendkit.midground.veil_left import veil_remains
from blendkit.settings import MergeSettings
from blendkit.sharpness import RelativeBlur
from blendkit.sharpness.color_blur import measure_color_blur
from blendkit.sharpness.noise import NO_NOISE, NoiseModel
from blendkit.sharpness.relative import filled, sharper_by
from blendkit.steps import (
    Lit,
    aligned_by,
    blur_between,
    clear_frame,
    in_one_light,
    measured_blur,
    near,
    noise_models,
)

_HERS = 0.5
"""Of the sitter as she is kept, from which a place was not painted."""


@dataclass(frozen=True, eq=False, slots=True)
class Merged:
    """The result of a merge, all on the background frame's grid.

    pixels: float32 (height, width, 3), linear, in the background frame's light.
    sources: uint8 (height, width), values of `frame.Source`.
    aligned: the foreground frame on this grid, in this light; covered: where it reaches.
    groups: boughs with a blur disc each; sitter: what stays the background frame's, which reaches
    past her; hers: what lies within her own outline.
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
    hers: Bool
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

    background, foreground: linear light, of one size.  hints: what the user painted or knows.
    progress: told (stage, share done); whatever it raises ends the merge.

    Raises
    ------
    AlignmentError : the frames do not lie on each other.
    InputError : frames or masks differ in size, or an f-number is asked for that cannot be.
    """
    hints, settings, watch = hints or Hints(), settings or MergeSettings(), Stopwatch(progress)
    hints.check(background, foreground)
    captures = background.capture, foreground.capture
    check_f_numbers(settings.aperture, captures)
    with watch("alignment"):
        alignment = aligned_by(background, foreground, hints, settings)
    with watch("light"):
        painted = hints.painted(background.size)
        lit = in_one_light(background, foreground, alignment.matrix, painted, settings)
    with watch("sharpness"):
        noise = noise_models(background, foreground, lit, alignment.matrix)
        foreground = foreground.recorded  # its light is in `lit`: whoever lent it may let go of it
        grain = noise[0].at_middle_grey, noise[1].at_middle_grey
        blur = blur_between(background, lit, lit.free(painted), grain, settings)
    with watch("matte"):
        frames = background.pixels, lit.aligned
        seen = _sitter(frames, blur, grain[1], painted)
        softness = filled(blur, background.size, apart=seen.hers)
        held = protected(seen.kept, painted)
        region = search_region(lit.covered, frames, grain, held, seen.hers, hints)
        lights = find_lights(background.pixels, lit.aligned, softness, lit.clipped[1])
        where = region, beside(region, held)
        del held
        found = _coverage(frames, captures, lit, lights, blur, where, hints, grain[1], settings)
        del where
        if hints.foreground_mask is None:
            # What nobody painted was measured with the rest; the background's own disc is wanted.
            bare = lit.free(painted) & ~near(found.alpha > 0)
            blur = blur_between(background, lit, bare, grain, settings)
            softness = filled(blur, background.size, apart=seen.hers)
    with watch("plate"):
        clear, clear_flags = clear_frame(background, hints, settings, found.alpha)
        laid = _laid(background, lit, lights, softness, (seen.kept, painted), clear, found)
        del softness  # as large as a channel, and laid in both its parts
        view, plate = explained(laid, found.alpha, region, grain[1], hints, settings)
        del found
        blur_after = measured_blur(background, foreground, lit, view.matte, noise, settings)
        own_px = own_disc_px(lit.aligned, view.matte.alpha, otherwise_px=laid.own_disc_px)
        shown, plate = at_f_numbers(laid, view, plate, captures, own_px, blur_after.lens, settings)
    with watch("composite"):
        grain_plate(plate, view.coverage, laid.softness, noise[0], settings.grain)
        seen = replace(seen, kept=protected(seen.kept, painted))
        del laid, lights, painted, region  # what rests on them is done, and the checks need room
        own = noise[2] if shown is view.matte else NO_NOISE
        pixels = _composed(background, plate, shown, (own, noise[0]), lit.covered, settings)
    merged = Merged(
        pixels=pixels,
        sources=source_map(plate, shown.alpha),
        alignment=alignment,
        light=lit.light,
        blur=blur,
        matte=shown,
        groups=view.groups,
        plate=plate,
        aligned=lit.aligned,
        covered=lit.covered,
        sitter=seen.kept,
        hers=seen.hers,
        zones=zone_map(view.matte.alpha, seen.kept, view.unplaced),
        noise=noise,
        flags=clear_flags,
        settings=settings,
        time_s=watch.time_s,
        result_blur=blur_after,
    )
    with watch("checks"):
        flags = _raised(background, foreground, merged, view, lit, seen, hints.nearer, own_px)
    return _flagged(merged, view, (*clear_flags, *flags))


def _sitter(frames: tuple[Float, Float], blur: RelativeBlur, grain: float, painted: Bool) -> Sitter:
    """Return the sitter as the plate keeps her, fading where painted."""
    found = find_sitter(*frames, blur, grain)
    return replace(found, kept=fading(found.kept, painted))


def _coverage(
    frames: tuple[Float, Float],
    captures: tuple[Capture, Capture],
    lit: Lit,
    lights: Lights,
    blur: RelativeBlur,
    where: tuple[Bool, Bool],
    hints: Hints,
    grain: float,
    settings: MergeSettings,
) -> Found:
    """Find the foreground; where: what is searched, and what of it lies beside the sitter."""
    if hints.matte is not None:
        return Found(np.asarray(hints.matte * lit.covered, np.float32))
    with lights.dots_out(lit.aligned):
        found = find_coverage(
            lights.discs_out(frames[0]),
            lit.aligned,
            where[0],
            grain,
            settings.matte,
            painted=hints.foreground_mask is not None,
            strokes=(hints.front_strokes, hints.back_strokes),
            refocused=refocused(blur, captures),
        )
    return replace(found, alpha=running_on(found.alpha, where[1]))


def _laid(
    background: Frame,
    lit: Lit,
    lights: Lights,
    softness: Float,
    kept: tuple[Float, Bool],
    clear: Warped | None,
    found: Found,
) -> Laid:
    """Put together what the explanation of the background frame rests on."""
    full_b, full_f = lit.clipped
    return Laid(
        background=background.pixels,
        aligned=lit.aligned,
        missing=lights.missing(lit.aligned),
        lights=lights.discs(softness.shape),
        footprint=lit.covered,
        softness=np.maximum(softness, 0),
        sharpness=sharper_by(softness),
        kept=kept[0],
        painted=kept[1],
        blind=full_b | full_f | ~lit.covered,
        full=full_b & ~near(full_f),
        clear=clear,
        factor=found.factor,
        own_disc_px=found.own_disc_px,
        refocused=found.refocused,
        color_blur_px=measure_color_blur(lit.aligned),
    )


def _composed(
    background: Frame,
    plate: Plate,
    shown: Matte,
    noise: tuple[NoiseModel, NoiseModel],
    covered: Bool,
    settings: MergeSettings,
) -> Float:
    """Return the foreground, its noise given and wanted, over the plate."""
    alone = shown.alone(covered)
    color_at = color_with_grain(shown, *noise, settings.grain, alone=alone)
    return compose(background.pixels, plate, shown.alpha, color_at)


def _flagged(merged: Merged, view: View, flags: tuple[Flag, ...]) -> Merged:
    """Return a merge with its flags, and nobody seen where ground was found to be soft."""
    ground = soft_regions(flags)
    if not ground:
        return replace(merged, flags=flags)
    sitter = np.where(np.logical_or.reduce(ground), np.float32(0), merged.sitter)
    zones = zone_map(view.matte.alpha, sitter, view.unplaced)
    return replace(merged, flags=flags, sitter=sitter, zones=zones)


def _raised(
    background: Frame,
    foreground: Frame,
    merged: Merged,
    view: View,
    lit: Lit,
    sitter: Sitter,
    nearer: tuple[NearerLine, ...],
    own_disc_px: float | None,
) -> tuple[Flag, ...]:
    """Return what the checks find wrong with a merge."""
    alpha, plate, blur = view.matte.alpha, merged.plate, merged.result_blur
    assert blur is not None  # noqa: S101 - every merge measures it
    pixels, aligned, settings = background.pixels, lit.aligned, merged.settings
    captures = background.capture, foreground.capture
    grain = merged.noise[0].at_middle_grey, merged.noise[1].at_middle_grey
    sigmas = merged.noise[0].coarse_sigma, merged.noise[1].coarse_sigma
    ground = tuple(soft_midground(blur, alpha, settings.viewing, captures, nearer=nearer))
    # Soft mid-ground looks like a figure to the network: soft in both frames alike.
    firm = ~np.logical_or.reduce([np.zeros_like(sitter.drawn), *soft_regions(ground)])
    drawn = sitter.drawn & firm
    seen = drawn & lit.covered & ~near(alpha > 0)
    discs_px = [group.disc_px for group in view.groups]
    flags = (
        *nothing_found(alpha),
        *loosely_aligned(merged.alignment, alpha.shape),
        *unplaced_zones(view.unplaced),
        *ends_at_sitter(alpha, sitter.hers & (merged.sitter > _HERS) & firm),
        *veil_on_sitter(view.coverage, alpha, merged.sitter, drawn, discs_px),
        *not_covered(lit.covered),
        *clipped(*lit.clipped),
        *soft_foreground(foreground, alpha, own_disc_px, settings.viewing),
        *missed_focus((pixels, aligned), sigmas, seen, settings.viewing, foreground.name),
        *ground,
        *light_step(pixels, aligned, surface_seams(blur, alpha)),
        *grain_step(grain, alpha, matched=settings.grain.match),
        *veil_remains(plate.at, view.coverage, alpha, plate.touched),
    )
    del firm, drawn, seen  # a merge needs most memory about here
    still = lit.shared & ~plate.touched & (alpha <= 0)
    return (
        *flags,
        *shaken(pixels, aligned, grain, still, captures),
        *moved_places(pixels, aligned, still, merged.alignment.residual_px),
    )
