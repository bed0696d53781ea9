"""Which frames to take: one, a pair, a pair with bridges, or a whole bracket."""

from collections.abc import Sequence

from blendkit.optics import exact_f_number, focus_series, frames_needed, marked_f_number_from
from blendkit.optics.bracket import bridge_f_number, reaches
from blendkit.optics.diffraction import LARGEST_F_NUMBER
from blendkit.plan.frames import TOUCHING, plan_frame, worst_in
from blendkit.plan.records import Bridge, Exposure, FramePlan, Interval, OneFrame
from blendkit.plan.scene import Scene

JUST_NOTICED = 1.28
"""Two blurs are told apart from this ratio on (Weber fraction 0.28: Mather & Smith 2002)."""


def largest_f_number(scene: Scene) -> float:
    """Return the f-number, as engraved, that advice goes up to; the stopped frame may go on."""
    return max(LARGEST_F_NUMBER, scene.stopped_f_number)


def single_frame(scene: Scene, wanted: Interval) -> OneFrame:
    """Return the one frame that holds all that is wanted, and whether it would do."""
    (focus,), exact = focus_series(
        *wanted,
        frames=1,
        coc_mm=scene.circle_of_confusion_mm,
        focal_length_mm=scene.focal_length_mm,
    )
    if exact <= exact_f_number(scene.wide_f_number) * (1 + TOUCHING):
        focus = scene.wide_focus_m if wanted.near_m == wanted.far_m else focus
        return OneFrame(focus, exact, scene.wide_f_number, "enough")
    marked = _engraved(scene, exact)
    if marked is None or marked > largest_f_number(scene):
        return OneFrame(focus, exact, marked, "no")
    as_soft = _background_mm(scene, marked, focus) * JUST_NOTICED >= _background_mm(
        scene, scene.wide_f_number, scene.wide_focus_m
    )
    return OneFrame(focus, exact, marked, "enough" if as_soft else "at a price")


def _engraved(scene: Scene, exact: float) -> float | None:
    """Return the engraved f-number that reaches an exact one; None = beyond f/64 and the lens."""
    marked = marked_f_number_from(exact)
    if marked is None and exact <= exact_f_number(scene.stopped_f_number) * (1 + TOUCHING):
        return scene.stopped_f_number
    return marked


def _background_mm(scene: Scene, f_number: float, focus_distance_m: float) -> float:
    frame = plan_frame(scene, "single", f_number=f_number, focus_distance_m=focus_distance_m)
    return frame.blur_disc_mm.background


def advised_frames(
    scene: Scene, frames: Sequence[FramePlan], wanted: Interval, single: OneFrame
) -> tuple[FramePlan, ...]:
    """Return the frames to take: the one that is enough, or the pair, refocused if it must be."""
    if single.verdict == "enough" and single.f_number is not None:
        focus = single.focus_distance_m
        return (plan_frame(scene, "single", f_number=single.f_number, focus_distance_m=focus),)
    background, foreground = frames
    focus = _foreground_focus(scene, background, foreground, wanted)
    if focus == foreground.focus_distance_m:
        return background, foreground
    refocused = plan_frame(
        scene, "foreground", f_number=foreground.f_number, focus_distance_m=focus
    )
    return background, refocused


def _foreground_focus(
    scene: Scene, background: FramePlan, foreground: FramePlan, wanted: Interval
) -> float:
    """Return where the foreground frame must be focused so that it holds the foreground.

    Where its depth can reach from the foreground to what the background frame holds, it is focused
    between the two; where it holds the foreground as it is, it stays; else it goes to the
    foreground itself, with depth on both sides of it.  A focus that was given, with no foreground
    to hold, is what the photographer wants.
    """
    if scene.foreground_at_m is None and scene.focus_stopped_m is not None:
        return foreground.focus_distance_m
    meeting = min(background.sharp.near_m, wanted.far_m)
    holds = foreground.sharp.near_m <= wanted.near_m <= foreground.sharp.far_m
    if holds and foreground.sharp.far_m >= meeting:
        return foreground.focus_distance_m
    if wanted.near_m < meeting:
        series = _series(scene, Interval(wanted.near_m, meeting), scene.stopped_f_number)
        if len(series) == 1:
            return series[0].focus_distance_m
    return foreground.focus_distance_m if holds else wanted.near_m


def bridge_over(scene: Scene, frames: Sequence[FramePlan], gap: Interval) -> Bridge:
    """Return how a gap between two frames is closed: by as few frames as f-numbers in use allow."""
    (focus,), exact = focus_series(
        *gap, frames=1, coc_mm=scene.circle_of_confusion_mm, focal_length_mm=scene.focal_length_mm
    )
    worst_disc_mm, worst_at_m = worst_in(scene, frames, gap)
    f_number = bridge_f_number(scene.stopped_f_number, exact)
    one = (Exposure(f_number, focus),)
    closing = one if reaches(f_number, exact) else _series(scene, gap, f_number)
    return Bridge(gap, worst_disc_mm, worst_at_m, closing, exact)


def bracket_over(scene: Scene, wanted: Interval, single: OneFrame) -> tuple[Exposure, ...]:
    """Return the fewest frames that hold all that is wanted, at the stopped f-number.

    Where one frame is enough, the bracket is that frame.
    """
    if single.verdict == "enough" and single.f_number is not None:
        return (Exposure(single.f_number, single.focus_distance_m),)
    return _series(scene, wanted, scene.stopped_f_number)


def _series(scene: Scene, wanted: Interval, f_number: float) -> tuple[Exposure, ...]:
    lens = {
        "focal_length_mm": scene.focal_length_mm,
        "coc_mm": scene.circle_of_confusion_mm,
    }
    count = frames_needed(*wanted, f_number=exact_f_number(f_number), **lens)
    series = focus_series(*wanted, frames=count, **lens)
    return tuple(Exposure(f_number, focus) for focus in series.focus_distances_m)
