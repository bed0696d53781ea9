"""Soft ground from a third frame that is sharp there."""

from dataclasses import dataclass, replace

import cv2
import numpy as np

from blendkit.alignment.estimate import align, given_alignment
from blendkit.alignment.photometric import fit_light
from blendkit.alignment.relight import apply_light
from blendkit.alignment.warp import warp_to_background
from blendkit.errors import AlignmentError
from blendkit.frame import Bool, Float, Frame, Source
from blendkit.midground.bridging import bridge_disc_px
from blendkit.repair.job import CannotError, Job, Made, share_of
from blendkit.sharpness.noise import measure_noise
from blendkit.sharpness.relative import relative_blur


def bridge(job: Job) -> Made:
    """Fill the zone from the bridge frame that is sharpest in it."""
    laid = [found for frame in job.bridges if (found := _laid(job, frame)) is not None]
    if not laid:
        raise CannotError("no bridge frame could be aligned")
    best = min(laid, key=lambda found: float(found.disc_px[job.soft].mean()))
    before, disc = job.ground.disc_px, best.disc_px
    zone = job.ground.surface.region & (disc < before)
    zone &= cv2.dilate(job.soft.astype(np.uint8), np.ones((9, 9), np.uint8)) > 0
    ground = replace(job.ground, disc_px=np.where(zone, disc, before).astype(np.float32))
    share = share_of(job, zone) * best.covered
    worst_px = float(np.quantile(disc[job.soft], 0.9))
    why = f"{best.frame.name} leaves a disc of up to {worst_px:.1f} px there"
    return Made(best.pixels, share, ground, Source.BRIDGE_FRAME, why)


@dataclass(frozen=True, eq=False, slots=True)
class _Laid:
    """A bridge frame on the result's grid, in its light, with its disc on the ground's map."""

    frame: Frame
    pixels: Float
    covered: Float
    disc_px: Float


def _laid(job: Job, frame: Frame) -> _Laid | None:
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


def _bridge_disc_px(job: Job, frame: Frame, pixels: Float, covered: Bool) -> Float:
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
