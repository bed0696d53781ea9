"""Tries the modes on each piece of soft ground, and lays in what the eye sees to be sharper."""

from collections.abc import Callable, Sequence
from dataclasses import replace

import numpy as np

from blendkit.errors import InputError
from blendkit.frame import Bool, Frame
from blendkit.hints import NearerLine
from blendkit.merge import Merged
from blendkit.midground import LOUDNESS, Flag, Severity
from blendkit.midground.loudness import STEP_SEEN, blur_severity, just_visible_px
from blendkit.midground.nearer import contradicts
from blendkit.midground.repaired_ground import as_repaired
from blendkit.midground.soft_ground import (
    at_full_size,
    grounds_of,
    soft_between_sharp,
    soft_from_px,
)
from blendkit.repair.bridge import bridge
from blendkit.repair.extend import extend
from blendkit.repair.flags import flags_after
from blendkit.repair.job import CannotError, Job, Made, soft_in, worst_disc_px
from blendkit.repair.records import MODES, Attempt, Mode, Repaired
from blendkit.repair.sharpen import sharpen
from blendkit.repair.taper import taper
from blendkit.settings import MergeSettings

_MAKERS: dict[str, Callable[[Job], Made]] = {
    "extend": extend,
    "bridge": bridge,
    "taper": taper,
    "sharpen": sharpen,
}


def repair_result(
    merged: Merged,
    background: Frame,
    foreground: Frame,
    *,
    mode: Mode = "auto",
    bridges: Sequence[Frame] = (),
    settings: MergeSettings | None = None,
    nearer: tuple[NearerLine, ...] = (),
    scale: float = 1.0,
) -> Repaired:
    """Repair the soft mid-ground of a result.

    Parameters
    ----------
    merged : Merged
        What `merge_pair` gave for the two frames.
    background, foreground : Frame
    mode : one of `MODES`.
    bridges : frames that are sharp in the mid-ground; the one sharpest there is used.
    settings : MergeSettings
        Those of the merge by default.
    nearer : the user's lines over surfaces; one that contradicts a surface's order lets it alone.
    scale : how many times larger the picture is that this is tried for at a smaller size.

    Returns
    -------
    Repaired
        The merge itself where there was nothing to repair or nothing helped.

    Raises
    ------
    InputError
        An unknown mode, `bridge` without a bridge frame, or a bridge frame of another size.
    """
    check_asked(mode, background, bridges)
    judged = settings or merged.settings
    blur = merged.result_blur
    if blur is None:
        return Repaired(merged, ())
    visible = just_visible_px(background.size, judged.viewing)
    attempts: list[Attempt] = []
    flagged, known = merged.flags, np.zeros(background.size[::-1], np.bool_)
    for found in grounds_of(blur, merged.matte.alpha):
        ground = as_repaired(found, blur)
        soft = soft_between_sharp(ground, soft_from_px(background.size, visible))
        region = ground.surface.region
        if soft is None or any(contradicts(n, ground.nearness, region, blur) for n in nearer):
            continue
        known |= at_full_size(region, blur.factor, background.size)
        job = Job(
            merged, background, foreground, tuple(bridges), blur, ground, soft, visible, scale
        )
        merged, made = _repair_one(job, mode)
        blur = merged.result_blur or blur
        attempts += made
    attempts += _without_plane(flagged, known, mode)
    return Repaired(merged, tuple(attempts))


def check_asked(mode: str, background: Frame, bridges: Sequence[Frame]) -> None:
    """Raise InputError, before any work, unless a mode is known and has the frames it needs."""
    if mode not in MODES:
        raise InputError(f"repair mode {mode!r}: choose one of {', '.join(MODES)}")
    if mode == "bridge" and not bridges:
        raise InputError("repair mode bridge needs a third frame: give it with --bridge FILE")
    for frame in bridges:
        if frame.size != background.size:
            one, other = ("x".join(map(str, f.size)) for f in (frame, background))
            raise InputError(f"{frame.name} is {one}, {background.name} {other}: use one size")


def _without_plane(flags: Sequence[Flag], known: Bool, mode: str) -> list[Attempt]:
    """Return a refusal for each soft zone that only a line of the user's gave an order.

    Of such ground no plane says how its blur runs beside the line, and a strip of it is no repair.

    flags : before the repair.
    known : bool (height, width), ground whose soft part its plane shows.
    """
    why = (
        "it is known by your line only, and beside the line no plane says how blur runs; "
        "take the frames again as the flag says"
    )
    return [
        Attempt(flag.kind, mode, flag.severity, flag.severity, applied=False, why=why)
        for flag in flags
        if flag.kind == "soft-midground"
        and not (2 * (flag.region & known).sum() > flag.region.sum())
    ]


def _repair_one(job: Job, mode: Mode) -> tuple[Merged, list[Attempt]]:
    """Try a mode, or all that suit in the order of what they cost the picture.

    A filter that leaves a flag as loud as it was is taken only if no other mode makes it quieter.
    """
    wanted: tuple[str, ...] = (
        (mode,) if mode != "auto" else ("bridge", "extend", "sharpen", "taper")
    )
    attempts: list[Attempt] = []
    kept: tuple[Made, Attempt] | None = None
    for name in wanted:
        if name == "bridge" and not job.bridges:
            continue
        made, attempt = _tried(job, name, asked=mode != "auto")
        if made is None or not attempt.applied:
            attempts.append(attempt)
        elif mode == "auto" and name == "sharpen" and not _quieter(attempt.before, attempt.after):
            kept = made, attempt
        else:
            if kept is not None:
                why = f"{kept[1].why}; {name} makes the flag quieter"
                attempts.append(replace(kept[1], applied=False, why=why))
            return _applied(job, made), [*attempts, attempt]
    if kept is not None:
        return _applied(job, kept[0]), [*attempts, kept[1]]
    return job.merged, attempts


def _tried(job: Job, name: str, *, asked: bool) -> tuple[Made | None, Attempt]:
    """Return what a mode makes of a ground, and whether that is worth being applied.

    asked: whether the user named the mode.
    """
    worst = worst_disc_px(job.ground, job.soft)
    before = blur_severity(worst, job.visible_px)
    try:
        made = _MAKERS[name](job)
    except CannotError as reason:
        return None, Attempt("soft-midground", name, before, before, False, str(reason))
    why = f"asked for; {made.why}" if asked else made.why
    soft = soft_in(job, made.ground)
    if soft is None:
        return made, Attempt("soft-midground", name, before, None, True, why)
    left = worst_disc_px(made.ground, soft)
    after = blur_severity(left, job.visible_px)
    if _quieter(before, after) or _seen_to_fall(worst, left, job.visible_px):
        why = f"{why}; the disc that is flagged falls from {worst:.1f} to {left:.1f} px"
        return made, Attempt("soft-midground", name, before, after, True, why)
    becomes = f"stay {after}" if after == before else f"become {after}"
    why = f"{made.why}, but the flag would {becomes}: {worst:.1f} px before, {left:.1f} px after"
    return made, Attempt("soft-midground", name, before, after, False, why)


def _quieter(before: Severity, after: Severity | None) -> bool:
    return after is None or LOUDNESS[after] < LOUDNESS[before]


def _seen_to_fall(before_px: float, after_px: float, visible_px: float) -> bool:
    """Tell whether the eye sees a disc become smaller.

    It tells discs apart by their ratio (Mather & Smith 2002, see `loudness`); what is below the
    just visible disc looks as sharp as that.

    >>> _seen_to_fall(5.0, 2.9, 0.4), _seen_to_fall(5.0, 4.5, 0.4), _seen_to_fall(1.2, 0.2, 1.0)
    (True, False, False)
    """
    return before_px >= STEP_SEEN * max(after_px, visible_px)


def _applied(job: Job, made: Made) -> Merged:
    """Return the merge with new pixels laid in, the source map and the flags brought up to date."""
    merged = job.merged
    share = made.share[..., None]
    pixels = np.where(
        share > 0, merged.pixels + share * (made.pixels - merged.pixels), merged.pixels
    )
    sources = merged.sources.copy()
    sources[made.share > 0] = made.source
    disc = made.disc_px
    if disc is None:
        disc = np.where(job.ground.surface.region, made.ground.disc_px, job.blur.disc_px)
    repaired = job.ground.surface.region | (disc != job.blur.disc_px)
    if job.blur.repaired is not None:
        repaired |= job.blur.repaired
    return replace(
        merged,
        pixels=np.asarray(pixels, np.float32),
        sources=sources,
        flags=flags_after(job, made),
        result_blur=replace(
            job.blur,
            disc_px=np.asarray(disc, np.float32),
            repaired=np.asarray(repaired, np.bool_),
        ),
    )
