"""Advice on taking the frames: diffraction, exposure, parallax, sway."""

from collections.abc import Iterator

from blendkit.optics import exact_shutter_s
from blendkit.optics.exposure import MARKED_SHUTTERS_S
from blendkit.plan import wording
from blendkit.plan.light import light_at
from blendkit.plan.records import Plan

EXAMPLE_SHUTTER_S, EXAMPLE_ISO = 1 / 500, 100.0
"""What the sentence on exposure shows where nothing was metered yet."""


def diffraction(plan: Plan) -> Iterator[str]:
    """Tell from which f-number on diffraction is the larger blur."""
    limits = plan.limits
    used = max(plan.advised, key=lambda frame: frame.f_number)
    airy_px = used.airy_disc_mm / plan.scene.pixel_pitch_mm
    yield (
        f"Diffraction: at {wording.aperture(used.f_number)} the Airy disc is"
        f" {wording.disc(used.airy_disc_mm)} ({wording.pixels(airy_px)}); it costs sharpness at"
        f" 100 % past {wording.aperture(limits.by_pixels)} and on the print past"
        f" {wording.aperture(limits.by_print)}."
    )


def exposure(plan: Plan) -> Iterator[str]:
    """Tell what keeps the frames as bright as the wide one, for which light was metered."""
    if len(plan.advised) > 1:
        yield from _bridge_exposure(plan)
    scene, frame = plan.scene, plan.advised[-1]
    light = light_at(scene, frame.f_number)
    if light.same:
        return
    first = exact_shutter_s(scene.exposure_time_s or EXAMPLE_SHUTTER_S)
    speed = scene.iso or EXAMPLE_ISO
    example = "for example " if scene.exposure_time_s is None else ""
    wide, stopped = wording.aperture(scene.wide_f_number), wording.aperture(frame.f_number)
    keep = "Keep the two equal with" if len(plan.advised) > 1 else "Make up for it with"
    yield (
        f"Exposure: {stopped} takes in {light.steps:.1f} steps less light than {wide}."
        f" {keep} {wording.times(light.factor)} times the shutter time ({example}"
        f"{wording.shutter(first)} becomes"
        f" {wording.shutter(first * light.factor)}) or {wording.times(light.factor)} times the ISO"
        f" ({wording.iso(speed)} becomes {wording.iso(speed * light.factor)}), or share it between"
        " them."
    )


def _bridge_exposure(plan: Plan) -> Iterator[str]:
    """Tell what a bridge frame at another f-number than both loses."""
    used = {frame.f_number for frame in plan.advised}
    for f_number in sorted({f.f_number for b in plan.bridges for f in b.frames} - used):
        light = light_at(plan.scene, f_number)
        yield (
            f"A bridge frame at {wording.aperture(f_number)} takes in {light.steps:.1f} steps less"
            f" light than {wording.aperture(plan.scene.wide_f_number)}:"
            f" {wording.times(light.factor)} times the shutter time or ISO."
        )


def parallax(plan: Plan) -> Iterator[str]:
    """Tell what a moved camera does to near against far."""
    if plan.parallax_px_per_mm is not None and len(plan.advised) > 1:
        yield (
            "Do not move the camera between the frames: every mm sideways shifts the foreground by"
            f" {wording.pixels(plan.parallax_px_per_mm)} against the background."
        )


def sway(plan: Plan) -> Iterator[str]:
    """Tell which shutter time the stated sway allows."""
    if plan.sway is None:
        return
    subject, near = plan.sway.subject_s, plan.sway.foreground_s
    text = (
        f"Sway of {plan.scene.sway_mm_s:g} mm/s blurs the subject by 1 px in"
        f" {wording.shutter(subject)}"
    )
    if near is not None:
        text += f" and the foreground in {wording.shutter(near)}"
    allowed = min(subject, near or subject)
    marks = [mark for mark in MARKED_SHUTTERS_S if exact_shutter_s(mark) <= allowed]
    limit = f"stay at {wording.shutter(exact_shutter_s(marks[-1]))} or shorter" if marks else ""
    yield f"{text}: {limit or 'no shutter is that fast, so wait for it to hold still'}."
    frame = max(plan.advised, key=lambda frame: frame.f_number)
    needed = light_at(plan.scene, frame.f_number).exposure_time_s
    if needed is not None and needed > allowed:
        yield (
            f"{wording.shutter(needed)} at {wording.aperture(frame.f_number)} is"
            f" {wording.times(needed / allowed)} times too long for that: raise the ISO as well."
        )
