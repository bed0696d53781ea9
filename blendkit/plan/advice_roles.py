"""Advice on roles: foci the wrong way round, a sitter soft in the frame she is taken from."""

from collections.abc import Iterator

from blendkit.plan import wording
from blendkit.plan.frames import TOUCHING
from blendkit.plan.records import Bridge, FramePlan, Plan


def exchanged(plan: Plan) -> Iterator[str]:
    """Tell of focus distances given the wrong way round; at one f-number that cannot be."""
    scene = plan.scene
    near_m, far_m = scene.wide_focus_m, scene.stopped_focus_m
    if len(plan.advised) == 1 or scene.wide_f_number == scene.stopped_f_number or near_m >= far_m:
        return
    yield (
        f"The stopped frame is the foreground frame, and you focus it at {wording.distance(far_m)},"
        f" behind the wide one at {wording.distance(near_m)}: if the near focus is meant for the"
        f" foreground, exchange the two (--focus-wide {wording.option_m(far_m)} --focus-stopped"
        f" {wording.option_m(near_m)})."
    )


def _sharp_subject(plan: Plan, frame: FramePlan) -> bool:
    return frame.blur_disc_mm.subject <= plan.scene.circle_of_confusion_mm * (1 + TOUCHING)


def holds_subject(plan: Plan, bridge: Bridge) -> bool:
    """Return whether the subject lies in a gap, at its ends too, and is soft in every frame."""
    inside = bridge.gap.near_m <= plan.scene.subject_at_m <= bridge.gap.far_m
    return inside and not any(_sharp_subject(plan, frame) for frame in plan.advised)


def soft_sitter(plan: Plan) -> Iterator[str]:
    """Warn where the frame that the merge takes the sitter from is not focused on the sitter."""
    background, *others = plan.advised
    if not others or _sharp_subject(plan, background):
        return
    mm, px = background.blur_disc_mm.subject, background.blur_disc_px.subject
    # at one f-number the farther focus makes the background frame, whichever option gave it
    two = plan.scene.wide_f_number != plan.scene.stopped_f_number
    text = (
        f"The background frame blurs the subject by {wording.disc(mm)} ({wording.pixels(px)}), and"
        " that is the frame the merge takes the sitter from: focus it on the sitter"
        + (" (--focus-wide)" if two else "")
    )
    if any(_sharp_subject(plan, frame) for frame in others):
        text += ", or paint the sitter as foreground"
    yield f"{text}."
