"""Tries the modes on each piece of soft ground, and lays in what makes its flag quieter."""

from collections.abc import Callable, Sequence
from dataclasses import replace

import numpy as np

from blendkit.errors import InputError
from blendkit.frame import Bool, Frame
from blendkit.hints import NearerLine
from blendkit.merge import Merged
from blendkit.midground import LOUDNESS, Flag, Severity
from blendkit.midground.loudness import just_visible_px
from blendkit.midground.nearer import contradicts
from blendkit.midground.soft_ground import (
    at_full_size,
    grounds_of,
    soft_between_sharp,
    soft_from_px,
)
from blendkit.repair.bridge import bridge
from blendkit.repair.extend import extend
from blendkit.repair.job import CannotError, Job, Made, severity_of
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

    Returns
    -------
    Repaired
        The merge itself where there was nothing to repair or nothing helped.

    Raises
    ------
    InputError
        An unknown mode, `bridge` without a bridge frame, or a bridge frame of another size.
    """
    _check(mode, background, bridges)
    judged = settings or merged.settings
    blur = merged.result_blur
    if blur is None:
        return Repaired(merged, ())
    visible = just_visible_px(background.size, judged.viewing)
    attempts: list[Attempt] = []
    for ground in grounds_of(blur, merged.matte.alpha):
        soft = soft_between_sharp(ground, soft_from_px(background.size, visible))
        region = ground.surface.region
        if soft is None or any(contradicts(n, ground.nearness, region, blur) for n in nearer):
            continue
        job = Job(merged, background, foreground, tuple(bridges), blur, ground, soft, visible)
        merged, made = _repair_one(job, mode)
        blur = merged.result_blur or blur
        attempts += made
    return Repaired(merged, tuple(attempts))


def _check(mode: str, background: Frame, bridges: Sequence[Frame]) -> None:
    if mode not in MODES:
        raise InputError(f"repair mode {mode!r}: choose one of {', '.join(MODES)}")
    if mode == "bridge" and not bridges:
        raise InputError("repair mode bridge needs a third frame: give it with --bridge FILE")
    for frame in bridges:
        if frame.size != background.size:
            one, other = ("x".join(map(str, f.size)) for f in (frame, background))
            raise InputError(f"{frame.name} is {one}, {background.name} {other}: use one size")


def _repair_one(job: Job, mode: Mode) -> tuple[Merged, list[Attempt]]:
    """Try a mode, or all that suit in the order of what they cost the picture."""
    before = severity_of(job, job.ground) or "note"
    wanted: tuple[str, ...] = (
        (mode,) if mode != "auto" else ("bridge", "extend", "sharpen", "taper")
    )
    attempts: list[Attempt] = []
    for name in wanted:
        if name == "bridge" and not job.bridges:
            continue
        try:
            made = _MAKERS[name](job)
        except CannotError as reason:
            attempts.append(Attempt("soft-midground", name, before, before, False, str(reason)))
            continue
        after = severity_of(job, made.ground)
        if _loudness(after) < _loudness(before):
            why = made.why if mode == "auto" else f"asked for; {made.why}"
            attempts.append(Attempt("soft-midground", name, before, after, True, why))
            return _applied(job, made, after), attempts
        why = f"{made.why}, but the flag would stay {after}"
        attempts.append(Attempt("soft-midground", name, before, after, False, why))
    return job.merged, attempts


def _loudness(severity: Severity | None) -> int:
    return -1 if severity is None else LOUDNESS[severity]


def _applied(job: Job, made: Made, after: Severity | None) -> Merged:
    """Return the merge with new pixels laid in, the source map and the flags brought up to date."""
    merged = job.merged
    share = made.share[..., None]
    pixels = np.where(
        share > 0, merged.pixels + share * (made.pixels - merged.pixels), merged.pixels
    )
    sources = merged.sources.copy()
    sources[made.share > 0] = made.source
    mended = at_full_size(job.ground.surface.region, job.background.size)
    flags = tuple(
        _quieter(flag, after) if _lies_in(flag.region, mended) else flag for flag in merged.flags
    )
    disc = made.disc_px
    if disc is None:
        disc = np.where(made.ground.surface.region, made.ground.disc_px, job.blur.disc_px)
    return replace(
        merged,
        pixels=np.asarray(pixels, np.float32),
        sources=sources,
        flags=tuple(flag for flag in flags if flag is not None),
        result_blur=replace(job.blur, disc_px=np.asarray(disc, np.float32)),
    )


def _lies_in(region: Bool, mended: Bool) -> bool:
    """Tell whether a flag is about the surface that was mended; another surface keeps its own."""
    return bool(2 * (region & mended).sum() > region.sum())


def _quieter(flag: Flag, after: Severity | None) -> Flag | None:
    """Return a flag as it stands after the repair; None = gone."""
    if flag.kind not in {"soft-midground", "blur-step"}:
        return flag
    if after is None:
        return None
    return replace(flag, severity=after) if LOUDNESS[after] < LOUDNESS[flag.severity] else flag
