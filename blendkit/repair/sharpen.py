"""Slightly soft ground, sharpened."""

from dataclasses import replace

import numpy as np

from blendkit.filters.resample import enlarge
from blendkit.frame import Bool, Source
from blendkit.midground.sharpening import LARGEST_DISC_PX, disc_left_px, sharpened
from blendkit.repair.job import CannotError, Job, Made, share_of, worst_disc_px


def sharpen(job: Job) -> Made:
    """Sharpen the zone, unless its disc is beyond what a filter can bring back."""
    worst = worst_disc_px(job.ground, job.soft)
    # The filter's reach is one of px: what it does at screen size it may not do at full size.
    full = worst * job.scale
    if full > LARGEST_DISC_PX:
        where = "" if job.scale == 1 else " at full size"
        raise CannotError(
            f"the disc reaches {full:.1f} px{where}; "
            f"sharpening brings back up to {LARGEST_DISC_PX:g} px"
        )
    disc = enlarge(job.ground.disc_px, job.blur.factor, job.background.size)
    share = share_of(job, job.soft)
    grain = job.merged.noise[0].at_middle_grey
    if not share.any():
        raise CannotError("the zone is too narrow to be blended in")
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
    return Made(pixels, share, ground, Source.REPAIRED, why)


def _box(region: Bool) -> tuple[slice, slice]:
    rows, columns = np.flatnonzero(region.any(axis=1)), np.flatnonzero(region.any(axis=0))
    return slice(int(rows[0]), int(rows[-1]) + 1), slice(int(columns[0]), int(columns[-1]) + 1)
