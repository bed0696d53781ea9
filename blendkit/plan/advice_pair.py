"""Advice on which frames: is one enough, which pair is, what lies between."""

from collections.abc import Iterator, Sequence

from blendkit.optics import image_distance_mm
from blendkit.plan import wording
from blendkit.plan.advice_roles import holds_subject
from blendkit.plan.decide import JUST_NOTICED, largest_f_number
from blendkit.plan.frames import plan_frame
from blendkit.plan.records import Bridge, Exposure, FramePlan, Plan

LEAST_GROWTH = 0.0005
"""A picture that grows by less, as a share, takes a px or two at each edge: no room to leave."""


def setting(exposure: Exposure | FramePlan) -> str:
    """Return a frame's f-number and focus as text."""
    where = wording.distance(exposure.focus_distance_m)
    return f"{wording.aperture(exposure.f_number)} focused at {where}"


def one_frame(plan: Plan) -> Iterator[str]:
    """Tell whether one frame would do."""
    single, wanted = plan.one_frame, wording.span(*plan.wanted)
    where = wording.distance(single.focus_distance_m)
    if single.verdict == "enough":
        (frame,) = plan.advised
        text = f"One frame is enough: {setting(frame)} is sharp from {wording.span(*frame.sharp)}"
        if frame.f_number > plan.scene.wide_f_number:
            soft, wide = (f.blur_disc_height.background for f in (frame, plan.frames[0]))
            background, told = "the background's", "cannot be told from"
            if soft > wide * JUST_NOTICED:
                background, told = "the background is no less soft: its", "is larger than"
            text += (
                f", and {background} blur disc of {wording.percent(soft)} of the frame height"
                f" {told} the {wording.percent(wide)} that"
                f" {wording.aperture(plan.scene.wide_f_number)} gives"
            )
        yield f"{text}."
        return
    needed = wording.computed_aperture(single.exact_f_number)
    if single.verdict == "no":
        largest = wording.aperture(largest_f_number(plan.scene))
        yield (
            f"One frame is not enough: to hold {wanted} it would take {needed} focused at {where},"
            f" beyond {largest}."
        )
        return
    f_number = single.f_number or single.exact_f_number
    frame = plan_frame(
        plan.scene, "single", f_number=f_number, focus_distance_m=single.focus_distance_m
    )
    soft, wide = (f.blur_disc_height.background for f in (frame, plan.frames[0]))
    yield (
        f"One frame would do if the background may be less soft: {setting(frame)} holds {wanted},"
        f" and the background's blur disc falls from {wording.percent(wide)} of the frame height"
        f" to {wording.percent(soft)}."
    )


def pair(plan: Plan) -> Iterator[str]:
    """Tell which pair to take."""
    if plan.one_frame.verdict == "enough":
        return
    parts = [f"{f.role} frame {setting(f)} (sharp {wording.span(*f.sharp)})" for f in plan.advised]
    start = "Otherwise take" if plan.one_frame.verdict == "at a price" else "Take"
    yield f"{start} a pair: {' and '.join(parts)}."


def refocus(plan: Plan) -> Iterator[str]:
    """Tell whether the stopped frame really makes the foreground sharp, or where to refocus it."""
    near_m, asked = plan.scene.foreground_at_m, plan.frames[1]
    if near_m is None or plan.one_frame.verdict == "enough":
        return
    disc = asked.blur_disc_mm.foreground or 0.0
    times = disc / plan.scene.circle_of_confusion_mm
    size = f"{wording.disc(disc)} ({wording.pixels(asked.blur_disc_px.foreground or 0.0)})"
    where = wording.distance(near_m)
    if plan.advised[1].exposure == asked.exposure:
        start = "No refocusing needed:" if _stopping_alone(plan) else "Refocused as you plan,"
        yield (
            f"{start} {setting(asked)} makes the foreground at {where} sharp, with a"
            f" blur disc of {size}, {times:.1f} times the circle of confusion."
        )
        return
    advised = plan.advised[1]
    if times > 1:
        does_not = f"{setting(asked)} does not hold the foreground at {where}: it has"
        if _stopping_alone(plan):
            does_not = "Stopping down alone does not do it:"
            does_not += f" {setting(asked)} leaves the foreground at {where} with"
        yield f"{does_not} a blur disc of {size}, {times:.1f} times the circle of confusion."
    text = f"Refocus the foreground frame to {wording.distance(advised.focus_distance_m)}"
    growth = _growth(plan, advised)
    if growth >= LEAST_GROWTH:
        text += (
            f"; that enlarges its picture by {wording.percent(growth)}, so leave some room at the"
            " edges"
        )
    yield f"{text}."


def _stopping_alone(plan: Plan) -> bool:
    """Return whether the two frames in mind differ by their f-number alone."""
    wide, stopped = plan.frames
    same_focus = wide.focus_distance_m == stopped.focus_distance_m
    return same_focus and wide.f_number != stopped.f_number


def _growth(plan: Plan, frame: FramePlan) -> float:
    planes = [frame.focus_distance_m, plan.frames[0].focus_distance_m]
    near, far = image_distance_mm(planes, focal_length_mm=plan.scene.focal_length_mm)
    return float(near / far - 1)


def gaps(plan: Plan) -> Iterator[str]:
    """Tell which stretches the advised frames leave soft, and what closes them."""
    for bridge in plan.bridges:
        at = wording.distance(bridge.worst_at_m)
        worst_px = wording.pixels(bridge.worst_disc_mm / plan.scene.pixel_pitch_mm)
        yield (
            f"The mid-ground gap lies between {wording.between(*bridge.gap)}: softest at {at} with"
            f" {wording.disc(bridge.worst_disc_mm)} ({worst_px}). {_closing(plan, bridge)}"
        )
        if holds_subject(plan, bridge):
            yield (
                f"The subject at {wording.distance(plan.scene.subject_at_m)} itself lies in this"
                " gap: focus one of the frames on it, or take the bridge."
            )
    if len(plan.advised) > 1 and not plan.bridges:
        wanted = wording.span(*plan.wanted)
        yield f"No mid-ground gap: all of {wanted} is sharp in at least one of the two."


LISTED_BRIDGES = 3
"""How many bridge frames `blendkit pairs` lists of itself for a pair; its list takes more."""


def _closing(plan: Plan, bridge: Bridge) -> str:
    frames = bridge.frames
    if len(frames) == 1:
        return f"A bridge frame at {setting(frames[0])} closes it."
    largest = wording.aperture(largest_f_number(plan.scene))
    text = (
        f"No single frame up to {largest} closes it (that would take"
        f" {wording.computed_aperture(bridge.least_f_number)}); {len(frames)} bridge frames at"
        f" {series(frames)} do. Keep out of it whatever must be sharp, or take them."
    )
    if len(frames) > LISTED_BRIDGES:
        text += (
            f" A batch finds {LISTED_BRIDGES} of them by itself; add the others to the bridges in"
            " its list."
        )
    return text


def bracket(plan: Plan) -> Iterator[str]:
    """Tell how many frames a full bracket takes."""
    if len(plan.bracket) > 1:
        yield (
            f"A full bracket from {wording.span(*plan.wanted)} takes {len(plan.bracket)} frames at"
            f" {series(plan.bracket)}."
        )


SHOWN = 8
"""A longer series is told by its first and last frames."""


def series(frames: Sequence[Exposure], *, shown: int = SHOWN) -> str:
    """Return frames of one f-number as text, the middle left out of more than `shown`."""
    if len(frames) == 1:
        return setting(frames[0])
    distances = wording.distances([frame.focus_distance_m for frame in frames])
    places = [text.removesuffix(" m") for text in distances]
    if len(places) > shown:
        places = [*places[:3], "...", *places[-2:]]
    unit = "" if places[-1] == "infinity" else " m"
    listed = ", ".join(places[:-1]) + f" and {places[-1]}{unit}"
    return f"{wording.aperture(frames[0].f_number)} focused at {listed}"
