"""What the flags of a piece of ground say once it is repaired."""

from collections.abc import Iterator

import numpy as np

from blendkit.frame import Bool, Source
from blendkit.midground import Flag
from blendkit.midground.loudness import blur_severity, step_severity
from blendkit.midground.soft_ground import (
    around_seam,
    at_full_size,
    bridge_advice,
    seam_of,
    soft_from_px,
)
from blendkit.repair.job import Job, Made, soft_in, worst_disc_px

_ABOUT = frozenset({"soft-midground", "blur-step"})


def flags_after(job: Job, made: Made) -> tuple[Flag, ...]:
    """Return a merge's flags with those of a job's ground told anew, by the discs as repaired."""
    mended = at_full_size(job.ground.surface.region, job.blur.factor, job.background.size)
    flags: list[Flag] = []
    for flag in job.merged.flags:
        if flag.kind not in _ABOUT or not _lies_in(flag.region, mended):
            flags.append(flag)
        elif flag.kind == "soft-midground":
            flags += _soft_after(job, made)
        else:
            flags += _step_after(job, made)
    return tuple(flags)


def _lies_in(region: Bool, mended: Bool) -> bool:
    """Tell whether a flag is about the surface that was mended; another surface keeps its own."""
    return bool(2 * (region & mended).sum() > region.sum())


def _soft_after(job: Job, made: Made) -> Iterator[Flag]:
    soft = soft_in(job, made.ground)
    if soft is None:
        return
    worst = worst_disc_px(made.ground, soft)
    yield Flag(
        "soft-midground",
        blur_severity(worst, job.visible_px),
        at_full_size(soft, job.blur.factor, job.background.size),
        f"{100 * float(soft.mean()):.1f} % of the picture is still soft between two sharp parts of "
        f"one surface after the repair: its disc reaches {worst:.1f} px, "
        f"{worst / job.visible_px:.1f} times the just visible one",
        _advice(job, made),
    )


def _advice(job: Job, made: Made) -> str:
    if made.source == Source.BRIDGE_FRAME:
        return (
            "stop the bridge frames down further, or take one more, focused on what is left, and "
            "repair with all of them"
        )
    captures = job.background.capture, job.foreground.capture
    return bridge_advice(job.blur, job.visible_px, captures)


def _step_after(job: Job, made: Made) -> Iterator[Flag]:
    """Yield a jump of blur as far as one is left where the foreground frame ends now."""
    ground = made.ground
    front, edge = ground.pasted > 0.5, seam_of(ground)
    sides = [edge & side for side in (front, ~front)]
    if not all(side.any() for side in sides):
        return
    one, other = (float(np.median(ground.disc_px[side])) for side in sides)
    severity = step_severity(one, other, job.visible_px)
    if severity is None or max(one, other) < soft_from_px(job.background.size, job.visible_px):
        return
    yield Flag(
        "blur-step",
        severity,
        around_seam(edge, job.blur.factor, job.background.size),
        f"blur jumps from {one:.1f} to {other:.1f} px after the repair, "
        "where the foreground frame ends on a surface",
        "end the foreground where both frames are equally sharp",
    )
