"""Advice on how it will look: the veil, how soft the background is, and how big."""

import math
from collections.abc import Iterator

from blendkit.optics import (
    blur_disc_mm,
    covered_m,
    field_of_view_deg,
    image_scale,
    magnification,
    object_distance_m,
)
from blendkit.optics.checks import MM_PER_M
from blendkit.plan import wording
from blendkit.plan.advice_pair import setting
from blendkit.plan.records import FramePlan, Plan
from blendkit.plan.scene import Scene

COMMON_FOCAL_LENGTHS_MM = (14, 20, 24, 35, 50, 85, 100, 135, 200, 300, 400)
CLEARLY_SHORTER = 0.7
"""The comparison takes the next common lens below this share of the focal length."""


def _soft(frame: FramePlan, coc_mm: float) -> str:
    discs = (frame.blur_disc_mm, frame.blur_disc_px, frame.blur_disc_height)
    mm, px, share = (disc.background for disc in discs)
    sharp = ", sharp" if mm <= coc_mm else ""
    size = f"{wording.pixels(px)}, {wording.percent(share)} of the frame height{sharp}"
    return f"{wording.disc(mm)} ({size})"


def veil(plan: Plan) -> Iterator[str]:
    """Tell how far the blurred foreground spreads in the background frame."""
    frame, near_m = plan.advised[0], plan.scene.foreground_at_m
    disc, disc_px = frame.blur_disc_mm.foreground, frame.blur_disc_px.foreground
    if near_m is None or disc is None or disc_px is None or len(plan.advised) == 1:
        return
    if disc <= plan.scene.circle_of_confusion_mm:
        return  # sharp there: nothing melts
    scale = image_scale(
        near_m,
        focal_length_mm=plan.scene.focal_length_mm,
        focus_distance_m=frame.focus_distance_m,
    )
    reach, across_m = wording.pixels(disc_px / 2), disc / float(scale) / 1000
    yield (
        f"The veil: at {wording.aperture(frame.f_number)} the foreground melts into discs of"
        f" {wording.disc(disc)} ({wording.pixels(disc_px)}); it spreads {reach} beyond every edge,"
        f" and anything narrower than {wording.length(across_m)} is see-through across its whole"
        " width."
    )


def how_soft(plan: Plan) -> Iterator[str]:
    """Tell the background's blur in each frame."""
    wide, stopped = plan.frames
    if plan.one_frame.verdict == "enough":
        wide = plan.advised[0]
    coc_mm = plan.scene.circle_of_confusion_mm
    place = wording.distance(plan.scene.background_m)
    where = "at infinity" if place == "infinity" else f"at {place}"
    text = f"How soft is the background {where}: {setting(wide)} gives blur discs of"
    text += f" {_soft(wide, coc_mm)}"
    if plan.one_frame.verdict != "enough":
        text += f", {setting(stopped)} {_soft(stopped, coc_mm)}"
    yield f"{text}."


def how_big(plan: Plan) -> Iterator[str]:
    """Tell how much of the background the frame shows."""
    scene, (width, _) = plan.scene, plan.framing.background_m
    if math.isinf(width):
        angle = plan.framing.field_of_view_deg[0]
        yield f"How big is it: the frame shows a strip of {angle:.1f} degrees of the horizon."
        return
    scale = image_scale(
        scene.background_m,
        focal_length_mm=scene.focal_length_mm,
        focus_distance_m=scene.wide_focus_m,
    )
    share = float(scale) * 1000 / scene.held_mm[1]
    yield (
        f"How big is it: the frame shows a strip {wording.length(width)} wide there, and one metre"
        f" of it fills {wording.percent(share)} of the frame height."
    )


def crop_or_walk(plan: Plan) -> Iterator[str]:
    """Compare a shorter lens, cropped from the same place or used from closer by.

    Both keep the subject's size, which means little for a frame that is focused elsewhere.
    """
    scene, frame = plan.scene, plan.advised[0]
    if frame.focus_distance_m != scene.subject_at_m:
        return
    limit = CLEARLY_SHORTER * scene.focal_length_mm
    shorter = [focal for focal in COMMON_FOCAL_LENGTHS_MM if focal <= limit]
    if not shorter:
        return
    focal = float(shorter[-1])
    scale = float(magnification(scene.subject_at_m, focal_length_mm=scene.focal_length_mm))
    own = frame.blur_disc_height.background
    ratio = scale / float(magnification(scene.subject_at_m, focal_length_mm=focal))
    cropped = _background_share(scene, frame, focal, scene.subject_at_m) * ratio
    closer_m = float(object_distance_m(scale, focal_length_mm=focal))
    f_number = wording.aperture(frame.f_number)
    walking = _walking(scene, frame, focal, closer_m)
    yield (
        f"Crop or zoom: {wording.focal_length(focal)} at {f_number} from the same place, cropped to"
        f" the same framing, shows the same strip with discs of {wording.percent(cropped)} of the"
        f" frame height instead of {wording.percent(own)}; {walking}"
    )


def _walking(scene: Scene, frame: FramePlan, focal_mm: float, closer_m: float) -> str:
    """Tell what a shorter lens shows from closer by, unless the foreground is in the way."""
    to = f"walking up to {wording.distance(closer_m)}"
    left_m = (scene.foreground_at_m or math.inf) - (scene.subject_at_m - closer_m)
    if left_m * MM_PER_M <= focal_mm:  # nothing nearer than that has an image, if it is in front
        return f"{to} with it would take the camera past the foreground."
    walked = _background_share(scene, frame, focal_mm, closer_m)
    strips = (
        _strip(scene, focal_mm, closer_m),
        _strip(scene, scene.focal_length_mm, scene.subject_at_m),
    )
    return (
        f"{to} with it instead keeps the subject's size, gives discs of"
        f" {wording.percent(walked)} and shows a strip of {' instead of '.join(strips)}."
    )


def _behind_m(scene: Scene, subject_m: float) -> float:
    return subject_m + scene.background_m - scene.subject_at_m


def _background_share(scene: Scene, frame: FramePlan, focal_mm: float, subject_m: float) -> float:
    disc = blur_disc_mm(
        _behind_m(scene, subject_m),
        focal_length_mm=focal_mm,
        f_number=frame.exact_f_number,
        focus_distance_m=subject_m,
    )
    return float(disc) / scene.held_mm[1]


def _strip(scene: Scene, focal_mm: float, subject_m: float) -> str:
    side = scene.held_mm[0]
    if math.isinf(scene.background_m):
        scale = magnification(subject_m, focal_length_mm=focal_mm)
        angle = field_of_view_deg(side, focal_length_mm=focal_mm, magnification=scale)
        return f"{float(angle):.1f} degrees"
    wide = covered_m(
        _behind_m(scene, subject_m),
        side_mm=side,
        focal_length_mm=focal_mm,
        focus_distance_m=subject_m,
    )
    return wording.length(float(wide))
