"""Advice on taking the frames: diffraction, exposure, parallax, sway."""

from collections.abc import Iterator

from blendkit.optics import exact_shutter_s
from blendkit.optics.exposure import MARKED_SHUTTERS_S
from blendkit.plan import wording
from blendkit.plan.advice_pair import setting
from blendkit.plan.light import Light, ends_of, exposed_as, light_at
from blendkit.plan.records import Exposure, Plan
from blendkit.plan.scene import Scene

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
        f" 100 % past {wording.computed_aperture(limits.by_pixels)} and on the print past"
        f" {wording.computed_aperture(limits.by_print)}."
    )


def exposure(plan: Plan) -> Iterator[str]:
    """Tell what keeps the frames as bright as the wide one, for which light was metered."""
    if len(plan.advised) > 1:
        yield from _bridge_exposure(plan)
    scene, frame = plan.scene, plan.advised[-1]
    light = light_at(scene, frame.exposure)
    if light.same:
        return
    time_s, speed = scene.exposure_time_s or EXAMPLE_SHUTTER_S, scene.iso or EXAMPLE_ISO
    longer = wording.shutter(exact_shutter_s(time_s) * light.factor)
    example = "for example " if scene.exposure_time_s is None else ""
    keep = "Keep the two equal with" if len(plan.advised) > 1 else "Make up for it with"
    yield (
        f"Exposure: {_loses(scene, frame.exposure, light)}."
        f" {keep} {wording.times(light.factor)} times the shutter time ({example}"
        f"{wording.given_shutter(time_s)} becomes {longer}) or {wording.times(light.factor)} times"
        f" the ISO ({wording.given_iso(speed)} becomes {wording.iso(speed * light.factor)}), or"
        " share it between them."
    )


def _loses(scene: Scene, exposure: Exposure, light: Light, *, placed: bool = False) -> str:
    """Tell the light that a frame loses; with the focus distances where these cost some of it.

    placed: they are needed in any case, to tell the frame from another of its f-number.
    """
    wide = Exposure(scene.wide_f_number, scene.wide_focus_m)
    text = setting if light.refocused or placed else _engraved
    less = "less" if light.steps > 0 else "more"
    told = f"{text(exposure)} takes in {abs(light.steps):.1f} steps {less} light than {text(wide)}"
    if not light.refocused:
        return told
    closer, lost = ("closer", "lost") if light.focus_steps > 0 else ("farther", "gained")
    if exposure.f_number == wide.f_number:
        return f"{told}, for it is focused {closer}"
    return f"{told} ({abs(light.focus_steps):.1f} {lost} by focusing {closer})"


def _engraved(exposure: Exposure) -> str:
    return wording.aperture(exposure.f_number)


def _bridge_exposure(plan: Plan) -> Iterator[str]:
    """Tell what a bridge frame loses that is exposed like none of the two."""
    scene = plan.scene
    for bridge in plan.bridges:
        if exposed_as(scene, bridge, plan.advised) is not None:
            continue
        frames = ends_of(scene, bridge)
        for frame in frames:
            light = light_at(scene, frame)
            more = f"{wording.times(light.factor)} times the shutter time or ISO"
            lost = _loses(scene, frame, light, placed=len(frames) > 1)
            yield f"A bridge frame at {lost}: {more}."


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
    needed = light_at(plan.scene, frame.exposure).exposure_time_s
    if needed is not None and needed > allowed:
        yield (
            f"{wording.shutter(needed)} at {wording.aperture(frame.f_number)} is"
            f" {wording.times(needed / allowed)} times too long for that: raise the ISO as well."
        )
