"""Soft ground from the frame that is sharper there."""

from dataclasses import replace

import numpy as np

from blendkit.frame import Source
from blendkit.repair.job import CannotError, Job, Made, share_of


def extend(job: Job) -> Made:
    """Take each place of the surface from the frame that is sharper there."""
    x, lens = job.ground.nearness, job.blur.lens
    front = np.abs(lens.ratio * x - lens.gap_px)
    inside = job.ground.surface.region & (x >= float(np.quantile(x[job.soft], 0.02)))
    own = job.ground.pasted > 0.5
    # Than what is there now, which may be a bridge frame's already.
    taken = inside & (front < job.ground.disc_px)
    pasted = np.where(taken, 1, job.ground.pasted).astype(np.float32)
    disc = np.where(taken, front, job.ground.disc_px).astype(np.float32)
    ground = replace(job.ground, pasted=pasted, disc_px=disc)
    share = share_of(job, (pasted > 0.5) & ~own) * job.merged.covered
    if float(share.max()) < 0.5:
        raise CannotError("the foreground frame is nowhere sharper than what is there already")
    why = f"{job.foreground.name} is sharper on {100 * float((share > 0.5).mean()):.1f} % more"
    return Made(job.merged.aligned, share, ground, Source.REPAIRED, why)
