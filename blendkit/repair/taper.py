"""Blur that only grows away from what is sharp."""

from dataclasses import replace
from typing import get_args

import numpy as np

from blendkit.blending.finish import grain_blurred
from blendkit.blending.rerender import rerender
from blendkit.filters.resample import enlarge, reduce_by
from blendkit.frame import Bool, Float, Source
from blendkit.midground.soft_ground import at_full_size, soft_from_px
from blendkit.midground.tapering import SharpPart, tapered_disc_px
from blendkit.repair.job import CannotError, Job, Made

_SITTER_SHARE = 0.02
_SURE = 0.25


def taper(job: Job) -> Made:
    """Let blur only grow away from the near sharp part, or, if somebody forbids, from the far."""
    refused: list[str] = []
    for kept in get_args(SharpPart):
        try:
            return _tapered(job, kept)
        except CannotError as reason:
            refused.append(str(reason))
    raise CannotError("; ".join(dict.fromkeys(refused)))


def _tapered(job: Job, kept: SharpPart) -> Made:
    """Re-render what lies away from the kept part; CannotError says why it cannot be."""
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
    if not touched.any():
        raise CannotError("nothing before or behind the zone would become softer")
    if float(_stands_sharp(job)[touched].mean()) > _SITTER_SHARE:
        raise CannotError("the sitter stands in the zone that would have to become softer")
    full = enlarge(extra, job.blur.factor, job.background.size)
    free = np.asarray(1 - _sitter(job), np.float32)
    pixels, _ = rerender(job.merged.pixels, free, full)
    grain_blurred(pixels, full, job.merged.noise[0], job.merged.settings.grain)
    ground = replace(job.ground, disc_px=np.maximum(wanted, job.ground.disc_px))
    side = "farther" if kept == "near" else "nearer"
    why = f"what lies {side} is re-rendered with a disc of up to {ceiling:.1f} px"
    after = np.asarray(np.maximum(target, now), np.float32)
    return Made(pixels, np.clip(full, 0, 1) * free, ground, Source.REPAIRED, why, after)


def _stands_sharp(job: Job) -> Bool:
    """Return where the sitter is, or something sharp in the background frame off the ground."""
    sitter = reduce_by(_sitter(job), job.blur.factor) > 0.5
    least = soft_from_px(job.background.size, job.visible_px)
    sharp = (job.blur.confidence > _SURE) & (job.blur.disc_px < least)
    off = ~job.ground.surface.region & (job.ground.pasted <= 0.5)
    return np.asarray(sitter | (sharp & off), np.bool_)


def _sitter(job: Job) -> Float:
    """Return the sitter without ground that both frames hold equally soft: that looks like one."""
    soft = at_full_size(job.soft, job.blur.factor, job.background.size)
    return np.asarray(np.where(soft, 0, job.merged.sitter), np.float32)


def _result_disc_px(job: Job) -> Float:
    """Return the result's disc, on the surface by its plane."""
    disc = np.where(job.ground.surface.region, job.ground.disc_px, job.blur.disc_px)
    return np.asarray(disc, np.float32)
