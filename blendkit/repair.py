"""Repairs what the mid-ground's flags point at, and says before and after.

Each mode makes new pixels from the frames that are there, works out the blur that results, judges
it by the rule that raised the flag, and is applied only if the flag gets quieter.  Nothing is
invented: the source map names every repaired pixel.
"""

from collections.abc import Callable, Sequence
from dataclasses import asdict, dataclass, replace
from typing import Literal

import cv2
import numpy as np

from blendkit.alignment.estimate import align, given_alignment
from blendkit.alignment.photometric import fit_light
from blendkit.alignment.relight import apply_light
from blendkit.alignment.warp import warp_to_background
from blendkit.blending.rerender import rerender
from blendkit.errors import AlignmentError, InputError
from blendkit.filters.bands import gaussian
from blendkit.frame import Bool, Float, Frame, Source
from blendkit.merge import Merged
from blendkit.midground import LOUDNESS, Flag, ResultBlur, Severity
from blendkit.midground.bridging import bridge_disc_px
from blendkit.midground.loudness import blur_severity, just_visible_px
from blendkit.midground.sharpening import LARGEST_DISC_PX, disc_left_px, sharpened
from blendkit.midground.soft_ground import (
    Ground,
    at_full_size,
    grounds_of,
    soft_between_sharp,
    soft_from_px,
)
from blendkit.midground.tapering import SharpPart, tapered_disc_px
from blendkit.settings import MergeSettings
from blendkit.sharpness.noise import measure_noise
from blendkit.sharpness.relative import relative_blur

Mode = Literal["bridge", "extend", "taper", "sharpen", "auto"]
MODES: tuple[Mode, ...] = ("bridge", "extend", "taper", "sharpen", "auto")
_SITTER_SHARE = 0.02
_SURE = 0.25


@dataclass(frozen=True, slots=True)
class Attempt:
    """What a mode did to a flag: severities, whether it was applied, and why or why not."""

    flag: str
    mode: str
    before: Severity
    after: Severity | None
    applied: bool
    why: str


@dataclass(frozen=True, eq=False, slots=True)
class Repaired:
    """A merge with its repairs applied; attempts in the order they were made."""

    merged: Merged
    attempts: tuple[Attempt, ...]

    @property
    def records(self) -> tuple[dict[str, object], ...]:
        """The attempts as the report lists them."""
        return tuple(asdict(attempt) for attempt in self.attempts)


@dataclass(frozen=True, eq=False, slots=True)
class _Job:
    merged: Merged
    background: Frame
    foreground: Frame
    bridges: tuple[Frame, ...]
    blur: ResultBlur
    ground: Ground
    soft: Bool
    visible_px: float


@dataclass(frozen=True, eq=False, slots=True)
class _Made:
    """New pixels with the share they take, (height, width), the ground after, and where from.

    disc_px: of the result over the whole map, where more than the ground changes.
    """

    pixels: Float
    share: Float
    ground: Ground
    source: Source
    why: str
    disc_px: Float | None = None


class _CannotError(Exception):
    """A mode that does not suit; its message says why."""


def repair_result(
    merged: Merged,
    background: Frame,
    foreground: Frame,
    *,
    mode: Mode = "auto",
    bridges: Sequence[Frame] = (),
    settings: MergeSettings | None = None,
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
        if soft is None:
            continue
        job = _Job(merged, background, foreground, tuple(bridges), blur, ground, soft, visible)
        merged, made = _repair_one(job, mode)
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


def _repair_one(job: _Job, mode: Mode) -> tuple[Merged, list[Attempt]]:
    """Try a mode, or all that suit in the order of what they cost the picture."""
    before = _severity(job, job.ground) or "note"
    wanted: tuple[str, ...] = (
        (mode,) if mode != "auto" else ("bridge", "extend", "sharpen", "taper")
    )
    attempts: list[Attempt] = []
    for name in wanted:
        if name == "bridge" and not job.bridges:
            continue
        try:
            made = _MAKERS[name](job)
        except _CannotError as reason:
            attempts.append(Attempt("soft-midground", name, before, before, False, str(reason)))
            continue
        after = _severity(job, made.ground)
        if _loudness(after) < _loudness(before):
            why = made.why if mode == "auto" else f"asked for; {made.why}"
            attempts.append(Attempt("soft-midground", name, before, after, True, why))
            return _applied(job, made, after), attempts
        why = f"{made.why}, but the flag would stay {after}"
        attempts.append(Attempt("soft-midground", name, before, after, False, why))
    return job.merged, attempts


def _loudness(severity: Severity | None) -> int:
    return -1 if severity is None else LOUDNESS[severity]


def _severity(job: _Job, ground: Ground) -> Severity | None:
    """Return how loud the flag of a ground would be; None = no flag."""
    least = soft_from_px(job.background.size, job.visible_px)
    soft = soft_between_sharp(ground, least)
    if soft is None:
        return None
    return blur_severity(float(np.quantile(ground.disc_px[soft], 0.9)), job.visible_px)


def _extend(job: _Job) -> _Made:
    """Take each place of the surface from the frame that is sharper there."""
    x, lens = job.ground.nearness, job.blur.lens
    front = np.abs(lens.ratio * x - lens.gap_px)
    inside = job.ground.surface.region & (x >= float(np.quantile(x[job.soft], 0.02)))
    own = job.ground.pasted > 0.5
    pasted = np.where(inside & (front < np.abs(x)), 1, own).astype(np.float32)
    disc = np.where(pasted > 0.5, front, np.abs(x)).astype(np.float32)
    ground = replace(job.ground, pasted=pasted, disc_px=disc)
    share = _share(job, (pasted > 0.5) & ~own) * job.merged.covered
    if float(share.max()) < 0.5:
        raise _CannotError("the foreground frame is nowhere sharper than what is there already")
    why = f"{job.foreground.name} is sharper on {100 * float((share > 0.5).mean()):.1f} % more"
    return _Made(job.merged.aligned, share, ground, Source.REPAIRED, why)


def _bridge(job: _Job) -> _Made:
    """Fill the zone from the bridge frame that is sharpest in it."""
    laid = [found for frame in job.bridges if (found := _laid(job, frame)) is not None]
    if not laid:
        raise _CannotError("no bridge frame could be aligned")
    best = min(laid, key=lambda found: float(found.disc_px[job.soft].mean()))
    before, disc = job.ground.disc_px, best.disc_px
    zone = job.ground.surface.region & (disc < before)
    zone &= cv2.dilate(job.soft.astype(np.uint8), np.ones((9, 9), np.uint8)) > 0
    ground = replace(job.ground, disc_px=np.where(zone, disc, before).astype(np.float32))
    share = _share(job, zone) * best.covered
    worst_px = float(np.quantile(disc[job.soft], 0.9))
    why = f"{best.frame.name} leaves a disc of up to {worst_px:.1f} px there"
    return _Made(best.pixels, share, ground, Source.BRIDGE_FRAME, why)


@dataclass(frozen=True, eq=False, slots=True)
class _Laid:
    """A bridge frame on the result's grid, in its light, with its disc on the ground's map."""

    frame: Frame
    pixels: Float
    covered: Float
    disc_px: Float


def _laid(job: _Job, frame: Frame) -> _Laid | None:
    """Lay a bridge frame on the result and measure its disc; None where it cannot be aligned."""
    settings, size = job.merged.settings, job.background.size
    given = job.merged.alignment.model == "given"
    try:
        found = (
            given_alignment(np.eye(3), size)
            if given
            else align(job.background.pixels, frame.pixels, settings.alignment)
        )
    except AlignmentError:
        return None
    moved = warp_to_background(frame.pixels, found.matrix, size)
    light = fit_light(job.background, moved.pixels, moved.footprint, settings.light)
    pixels = apply_light(moved.pixels, light)
    disc = _bridge_disc_px(job, frame, pixels, moved.footprint)
    return _Laid(frame, pixels, moved.footprint.astype(np.float32), disc)


def _bridge_disc_px(job: _Job, frame: Frame, pixels: Float, covered: Bool) -> Float:
    """Return the bridge frame's disc on the ground's map, by how it compares with the result."""
    grain = job.merged.noise[0].at_middle_grey, measure_noise(pixels).at_middle_grey
    relative = relative_blur(
        job.merged.pixels,
        pixels,
        covered,
        job.merged.settings.sharpness,
        grain=grain,
        graded=True,
    )
    size = (job.soft.shape[1], job.soft.shape[0])
    disc, sure = (
        np.asarray(cv2.resize(values, size), np.float32)
        for values in (relative.disc_px, relative.confidence)
    )
    own, third = job.background.capture.f_number, frame.capture.f_number
    ratio = own / third if own and third else None
    unit_px = max(job.background.size) / 1200
    lens = job.blur.lens
    return bridge_disc_px(job.ground, disc, sure, lens=lens, ratio=ratio, unit_px=unit_px)


def _taper(job: _Job) -> _Made:
    """Let blur only grow away from the near sharp part, or, if somebody forbids, from the far."""
    made = _tapered(job, "near") or _tapered(job, "far")
    if made is None:
        raise _CannotError("the sitter stands in the zone that would have to become softer")
    return made


def _tapered(job: _Job, kept: SharpPart) -> _Made | None:
    """Re-render what lies away from the kept part; None where that would soften a sharp sitter."""
    wanted, now = tapered_disc_px(job.ground, kept), _result_disc_px(job)
    here = job.ground.surface.region
    ceiling = float(wanted[here].max())
    target = np.where(here, wanted, now)
    if kept == "near":
        # What stands behind the zone, on the surface or not, is farther and must not be sharper.
        far = job.blur.background_px < float(np.median(job.ground.nearness[job.soft]))
        target = np.where(far & ~here, np.maximum(now, ceiling), target)
    extra = np.sqrt(np.maximum(target**2 - now**2, 0)).astype(np.float32)
    touched = extra > 0.5
    if not touched.any() or float(_stands_sharp(job)[touched].mean()) > _SITTER_SHARE:
        return None
    full = np.asarray(cv2.resize(extra, job.background.size), np.float32)
    free = np.asarray(1 - _sitter(job), np.float32)
    pixels, _ = rerender(job.merged.pixels, free, full)
    ground = replace(job.ground, disc_px=np.maximum(wanted, job.ground.disc_px))
    side = "farther" if kept == "near" else "nearer"
    why = f"what lies {side} is re-rendered with a disc of up to {ceiling:.1f} px"
    after = np.asarray(np.maximum(target, now), np.float32)
    return _Made(pixels, np.clip(full, 0, 1) * free, ground, Source.REPAIRED, why, after)


def _stands_sharp(job: _Job) -> Bool:
    """Return where the sitter is, or something sharp in the background frame off the ground."""
    size = (job.soft.shape[1], job.soft.shape[0])
    sitter = cv2.resize(_sitter(job), size, interpolation=cv2.INTER_AREA) > 0.5
    least = soft_from_px(job.background.size, job.visible_px)
    sharp = (job.blur.confidence > _SURE) & (job.blur.disc_px < least)
    off = ~job.ground.surface.region & (job.ground.pasted <= 0.5)
    return np.asarray(sitter | (sharp & off), np.bool_)


def _sitter(job: _Job) -> Float:
    """Return the sitter without ground that both frames hold equally soft: that looks like one."""
    soft = at_full_size(job.soft, job.background.size)
    return np.asarray(np.where(soft, 0, job.merged.sitter), np.float32)


def _result_disc_px(job: _Job) -> Float:
    """Return the result's disc, on the surface by its plane."""
    disc = np.where(job.ground.surface.region, job.ground.disc_px, job.blur.disc_px)
    return np.asarray(disc, np.float32)


def _sharpen(job: _Job) -> _Made:
    """Sharpen the zone, unless its disc is beyond what a filter can bring back."""
    worst = float(np.quantile(job.ground.disc_px[job.soft], 0.9))
    if worst > LARGEST_DISC_PX:
        raise _CannotError(
            f"the disc reaches {worst:.1f} px; sharpening brings back up to {LARGEST_DISC_PX:g} px"
        )
    size = job.background.size
    disc = np.asarray(cv2.resize(job.ground.disc_px, size), np.float32)
    share = _share(job, job.soft)
    grain = job.merged.noise[0].at_middle_grey
    rows, columns = _box(share > 0)
    part = job.merged.pixels[rows, columns]
    pixels = job.merged.pixels.copy()
    pixels[rows, columns] = sharpened(part, disc[rows, columns], grain)
    power = float(np.var(part - part.mean(axis=(0, 1))))
    left = [disc_left_px(float(d), grain, power) for d in np.arange(0, LARGEST_DISC_PX + 1, 0.5)]
    after = np.interp(job.ground.disc_px, np.arange(0, LARGEST_DISC_PX + 1, 0.5), left)
    ground = replace(
        job.ground, disc_px=np.where(job.soft, after, job.ground.disc_px).astype(np.float32)
    )
    why = f"a disc of {worst:.1f} px is within reach of a filter at this grain"
    return _Made(pixels, share, ground, Source.REPAIRED, why)


_MAKERS: dict[str, Callable[[_Job], _Made]] = {
    "extend": _extend,
    "bridge": _bridge,
    "taper": _taper,
    "sharpen": _sharpen,
}


def _share(job: _Job, zone: Bool) -> Float:
    """Return a zone of the blur map at full size with a soft rim that lies inside it."""
    full = at_full_size(zone, job.background.size).astype(np.float32)
    width = 1.5 * job.blur.factor
    return np.asarray(np.clip(2 * gaussian(full, width) - 1, 0, 1) * full, np.float32)


def _box(region: Bool) -> tuple[slice, slice]:
    rows, columns = np.flatnonzero(region.any(axis=1)), np.flatnonzero(region.any(axis=0))
    return slice(int(rows[0]), int(rows[-1]) + 1), slice(int(columns[0]), int(columns[-1]) + 1)


def _applied(job: _Job, made: _Made, after: Severity | None) -> Merged:
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
