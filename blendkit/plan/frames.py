"""One frame of a plan: its limits, its discs; and the stretches that several frames leave soft."""

import math
from collections.abc import Iterable, Sequence

import numpy as np
from numpy.typing import ArrayLike

from blendkit.optics import (
    airy_disc_mm,
    blur_disc_mm,
    depth_of_field,
    exact_f_number,
    hyperfocal_m,
    magnification,
)
from blendkit.optics.checks import Values
from blendkit.plan.records import Discs, FramePlan, Interval, Role
from blendkit.plan.scene import Scene

TOUCHING = 1e-9
"""Share by which two limits may miss each other and still touch: rounding, not a gap."""


def plan_frame(scene: Scene, role: Role, *, f_number: float, focus_distance_m: float) -> FramePlan:
    """Return what a frame at an engraved f-number and a focus distance in m gives in a scene."""
    exact = exact_f_number(f_number)
    lens = {"focal_length_mm": scene.focal_length_mm, "f_number": exact}
    coc_mm = scene.circle_of_confusion_mm
    near, far = depth_of_field(focus_distance_m, coc_mm=coc_mm, **lens)
    scale = magnification(focus_distance_m, focal_length_mm=scene.focal_length_mm)
    discs = _named_discs_mm(scene, exact, focus_distance_m)
    return FramePlan(
        role=role,
        f_number=f_number,
        exact_f_number=exact,
        focus_distance_m=focus_distance_m,
        sharp=Interval(float(near), float(far)),
        hyperfocal_m=float(hyperfocal_m(coc_mm=coc_mm, **lens)),
        airy_disc_mm=float(airy_disc_mm(exact, magnification=scale, pupil=scene.pupil)),
        blur_disc_mm=discs,
        blur_disc_px=_divided(discs, scene.pixel_pitch_mm),
        blur_disc_height=_divided(discs, scene.held_mm[1]),
    )


def discs_mm(scene: Scene, frame: FramePlan, distances_m: ArrayLike) -> Values:
    """Return the blur discs in mm of points at distances in m, in a planned frame."""
    return blur_disc_mm(
        distances_m,
        focal_length_mm=scene.focal_length_mm,
        f_number=frame.exact_f_number,
        focus_distance_m=frame.focus_distance_m,
    )


def _named_discs_mm(scene: Scene, exact: float, focus_distance_m: float) -> Discs:
    near_m = scene.foreground_at_m
    places = [near_m or scene.subject_at_m, scene.subject_at_m, scene.background_m]
    near, subject, background = blur_disc_mm(
        places,
        focal_length_mm=scene.focal_length_mm,
        f_number=exact,
        focus_distance_m=focus_distance_m,
    )
    return Discs(None if near_m is None else float(near), float(subject), float(background))


def _divided(discs: Discs, by: float) -> Discs:
    near = None if discs.foreground is None else discs.foreground / by
    return Discs(near, discs.subject / by, discs.background / by)


def wanted_sharp(scene: Scene) -> Interval:
    """Return what shall be sharp: foreground to subject, and on to the farthest focus.

    Whoever focuses a frame beyond the subject wants that sharp too.
    """
    planes = (scene.subject_at_m, scene.wide_focus_m, scene.stopped_focus_m)
    near = min(planes) if scene.foreground_at_m is None else scene.foreground_at_m
    return Interval(near, max(planes))


def gaps_between(sharp: Iterable[Interval], wanted: Interval) -> tuple[Interval, ...]:
    """Return the stretches of `wanted` that lie in none of the sharp intervals, near to far.

    >>> gaps_between([Interval(4, 5), Interval(1, 2)], Interval(1.5, 8))
    (Interval(near_m=2, far_m=4), Interval(near_m=5, far_m=8))
    """
    gaps, reached = [], wanted.near_m
    for near, far in sorted(sharp):
        if near > reached * (1 + TOUCHING) and reached < wanted.far_m:
            gaps.append(Interval(reached, min(near, wanted.far_m)))
        reached = max(reached, far)
    if reached < wanted.far_m * (1 - TOUCHING):
        gaps.append(Interval(reached, wanted.far_m))
    return tuple(gaps)


def worst_in(scene: Scene, frames: Sequence[FramePlan], gap: Interval) -> tuple[float, float]:
    """Return (disc in mm, distance in m) where the sharpest of the frames is softest in a gap.

    In reciprocal distance each frame's disc is a straight line on either side of its focus, so the
    worst lies at an end of the gap or where two lines cross; a fine comb finds it.
    """
    far = 0.0 if math.isinf(gap.far_m) else 1 / gap.far_m
    comb = np.linspace(1 / gap.near_m, far, 401)
    distances = np.divide(1.0, comb, out=np.full(comb.shape, np.inf), where=comb > 0)
    softest = np.min([discs_mm(scene, frame, distances) for frame in frames], axis=0)
    worst = int(np.argmax(softest))
    return float(softest[worst]), float(distances[worst])
