"""From a scene to its plan, step by step."""

import math
from dataclasses import replace

from blendkit.optics import (
    covered_m,
    diffraction_f_number,
    field_of_view_deg,
    image_scale,
    magnification,
    shift_px_per_mm,
)
from blendkit.plan.advice import advise
from blendkit.plan.decide import advised_frames, bracket_over, bridge_over, single_frame
from blendkit.plan.frames import gaps_between, plan_frame, wanted_sharp
from blendkit.plan.light import light_at
from blendkit.plan.records import Framing, Limits, Plan, Sway
from blendkit.plan.scene import Scene

BLURRING_PX = 2.0
"""An Airy disc wider than two pixels costs sharpness at 100 % (common practice, no source)."""


def make_plan(scene: Scene) -> Plan:
    """Return which frames to take in a scene, and why.

    >>> plan = make_plan(Scene(focal_length_mm=135, wide_f_number=2, foreground_at_m=2.2,
    ...     subject_at_m=4, background_at_m=14))
    >>> plan.one_frame.verdict
    'no'
    >>> [tuple(frame.exposure) for frame in plan.advised]
    [(2, 4), (16.0, 2.2)]
    """
    scene = _far_focus_first(scene)
    wanted = wanted_sharp(scene)
    frames = (
        plan_frame(
            scene,
            "background",
            f_number=scene.wide_f_number,
            focus_distance_m=scene.wide_focus_m,
        ),
        plan_frame(
            scene,
            "foreground",
            f_number=scene.stopped_f_number,
            focus_distance_m=scene.stopped_focus_m,
        ),
    )
    single = single_frame(scene, wanted)
    advised = advised_frames(scene, frames, wanted, single)
    left = gaps_between([frame.sharp for frame in advised], wanted)
    plan = Plan(
        scene=scene,
        wanted=wanted,
        frames=frames,
        gaps=gaps_between([frame.sharp for frame in frames], wanted),
        one_frame=single,
        advised=advised,
        advised_gaps=left,
        bridges=tuple(bridge_over(scene, advised, gap) for gap in left),
        bracket=bracket_over(scene, wanted, single),
        limits=_limits(scene),
        framing=_framing(scene),
        exposure_steps=light_at(scene, frames[1].exposure).steps,
        parallax_px_per_mm=_parallax(scene),
        sway=_sway(scene),
    )
    return replace(plan, advice=tuple(advise(plan)))


def _far_focus_first(scene: Scene) -> Scene:
    """Exchange the focus distances of a focus pair whose near one was given first.

    At one f-number, the far-focused frame is the background frame.
    """
    same = scene.wide_f_number == scene.stopped_f_number
    if same and scene.stopped_focus_m > scene.wide_focus_m:
        return replace(
            scene, focus_wide_m=scene.stopped_focus_m, focus_stopped_m=scene.wide_focus_m
        )
    return scene


def _limits(scene: Scene) -> Limits:
    scale = magnification(scene.subject_at_m, focal_length_mm=scene.focal_length_mm)
    by_print, by_pixels = diffraction_f_number(
        [scene.circle_of_confusion_mm, BLURRING_PX * scene.pixel_pitch_mm],
        magnification=scale,
        pupil=scene.pupil,
    )
    return Limits(float(by_print), float(by_pixels))


def _framing(scene: Scene) -> Framing:
    width, height = scene.held_mm
    lens = {"focal_length_mm": scene.focal_length_mm, "focus_distance_m": scene.wide_focus_m}
    scale = magnification(scene.wide_focus_m, focal_length_mm=scene.focal_length_mm)
    angles = field_of_view_deg(
        [width, height, math.hypot(width, height)],
        focal_length_mm=scene.focal_length_mm,
        magnification=scale,
    )
    places = [[scene.subject_at_m], [scene.background_m]]
    subject, background = covered_m(places, side_mm=[width, height], **lens)
    return Framing(
        (float(angles[0]), float(angles[1]), float(angles[2])),
        (float(subject[0]), float(subject[1])),
        (float(background[0]), float(background[1])),
    )


def _parallax(scene: Scene) -> float | None:
    if scene.foreground_at_m is None:
        return None
    return float(
        shift_px_per_mm(
            scene.foreground_at_m,
            scene.background_m,
            focal_length_mm=scene.focal_length_mm,
            focus_distance_m=scene.wide_focus_m,
            pixel_pitch_mm=scene.pixel_pitch_mm,
        )
    )


def _sway(scene: Scene) -> Sway | None:
    if scene.sway_mm_s is None:
        return None

    def longest_s(distance_m: float) -> float:
        scale = image_scale(
            distance_m,
            focal_length_mm=scene.focal_length_mm,
            focus_distance_m=scene.wide_focus_m,
        )
        return scene.pixel_pitch_mm / float(scale * (scene.sway_mm_s or math.inf))

    near_m = scene.foreground_at_m
    return Sway(longest_s(scene.subject_at_m), None if near_m is None else longest_s(near_m))
