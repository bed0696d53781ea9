"""Advice on taking the frames: diffraction, exposure, parallax, sway."""

from collections.abc import Iterator

from blendkit.optics import exact_f_number, exact_shutter_s, steps_between
from blendkit.optics.exposure import MARKED_SHUTTERS_S
from blendkit.plan import wording
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


def stopped_shutter_s(plan: Plan) -> float:
    """Return the exact shutter time that keeps the stopped frame as bright as the wide one."""
    first = plan.scene.exposure_time_s or EXAMPLE_SHUTTER_S
    return float(exact_shutter_s(first) * 2.0**plan.exposure_steps)


def exposure(plan: Plan) -> Iterator[str]:
    """Tell what keeps the two frames equally bright."""
    if len(plan.advised) == 1:
        return
    yield from _bridge_exposure(plan)
    if plan.exposure_steps == 0:
        return
    scene, factor = plan.scene, 2.0**plan.exposure_steps
    first = scene.exposure_time_s or EXAMPLE_SHUTTER_S
    speed = scene.iso or EXAMPLE_ISO
    example = "for example " if scene.exposure_time_s is None else ""
    wide, stopped = (wording.aperture(frame.f_number) for frame in plan.frames)
    yield (
        f"Exposure: {stopped} takes in {plan.exposure_steps:.1f} steps less light than {wide}."
        f" Keep the two equal with {factor:.3g} times the shutter time ({example}"
        f"{wording.shutter(exact_shutter_s(first))} becomes"
        f" {wording.shutter(stopped_shutter_s(plan))}) or {factor:.3g} times the ISO"
        f" ({wording.iso(speed)} becomes {wording.iso(speed * factor)}), or share it between them."
    )


def _bridge_exposure(plan: Plan) -> Iterator[str]:
    """Tell what a bridge frame at another f-number than both loses."""
    used = {frame.f_number for frame in plan.advised}
    for f_number in sorted({f.f_number for b in plan.bridges for f in b.frames} - used):
        steps = float(steps_between(plan.frames[0].exact_f_number, exact_f_number(f_number)))
        yield (
            f"A bridge frame at {wording.aperture(f_number)} takes in {steps:.1f} steps less light"
            f" than {wording.aperture(plan.frames[0].f_number)}: {2**steps:.3g} times the shutter"
            " time or ISO."
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
    if plan.scene.exposure_time_s is not None and len(plan.advised) > 1:
        needed = stopped_shutter_s(plan)
        if needed > allowed:
            yield (
                f"{wording.shutter(needed)} at {wording.aperture(plan.frames[1].f_number)} is"
                f" {needed / allowed:.2g} times too long for that: raise the ISO as well."
            )
