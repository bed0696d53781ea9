"""Soft ground from a third frame that is sharp there."""

from dataclasses import dataclass, replace

import cv2
import numpy as np

from blendkit.alignment.estimate import align
from blendkit.alignment.photometric import fit_light
from blendkit.alignment.relight import apply_light
from blendkit.alignment.warp import warp_to_background
from blendkit.errors import AlignmentError, InputError
from blendkit.frame import Bool, Float, Frame, Matrix, Source
from blendkit.midground.bridging import bridge_disc_px
from blendkit.repair.job import CannotError, Job, Made, share_of
from blendkit.repair.same_scene import check_same_scene, loose_px
from blendkit.sharpness.noise import measure_noise
from blendkit.sharpness.relative import relative_blur


def bridge(job: Job) -> Made:
    """Fill the zone from the bridge frame that is sharpest in it."""
    laid: list[_Laid] = []
    refused: list[str] = []
    for frame in job.bridges:
        try:
            laid.append(_laid(job, frame))
        except CannotError as reason:
            refused.append(f"{frame.name} was not used: {reason}")
    if not laid:
        raise CannotError("; ".join(refused))
    best = min(laid, key=lambda found: float(found.disc_px[job.soft].mean()))
    before, disc = job.ground.disc_px, best.disc_px
    zone = job.ground.surface.region & (disc < before)
    zone &= cv2.dilate(job.soft.astype(np.uint8), np.ones((9, 9), np.uint8)) > 0
    ground = replace(job.ground, disc_px=np.where(zone, disc, before).astype(np.float32))
    share = share_of(job, zone) * best.covered
    worst_px = float(np.quantile(disc[job.soft], 0.9))
    why = "; ".join([f"{best.frame.name} leaves a disc of up to {worst_px:.1f} px there", *refused])
    return Made(best.pixels, share, ground, Source.BRIDGE_FRAME, why)


@dataclass(frozen=True, eq=False, slots=True)
class _Laid:
    """A bridge frame on the result's grid, in its light, with its disc on the ground's map."""

    frame: Frame
    pixels: Float
    covered: Float
    disc_px: Float


def _laid(job: Job, frame: Frame) -> _Laid:
    """Lay a bridge frame on the result and measure its disc; CannotError says why it cannot be."""
    settings, size = job.merged.settings, job.background.size
    moved = warp_to_background(frame.pixels, _matrix(job, frame), size)
    light = fit_light(job.background, moved.pixels, moved.footprint, settings.light)
    pixels = apply_light(moved.pixels, light)
    grains = job.merged.noise[0].at_middle_grey, measure_noise(pixels).at_middle_grey
    check_same_scene(job, pixels, moved.footprint, grains)
    disc = _bridge_disc_px(job, frame, pixels, moved.footprint, grains)
    return _Laid(frame, pixels, moved.footprint.astype(np.float32), disc)


def _matrix(job: Job, frame: Frame) -> Matrix:
    """Return where a bridge frame lies, background px to its px.

    With a pair whose frames lie on each other already it must lie there too.  If the search cannot
    tell, whether it does is left to the comparison of what it shows.
    """
    given = job.merged.alignment.model == "given"
    names = job.background.name, frame.name
    settings = job.merged.settings.alignment
    try:
        found = align(job.background.pixels, frame.pixels, settings, names=names)
    except AlignmentError as error:
        if given:
            return np.eye(3)
        raise CannotError(error.reason) from error
    except InputError as error:
        raise CannotError(str(error)) from error
    if not given:
        return found.matrix
    off_px, allowed_px = _off_px(found.matrix, job.background.size), loose_px(job.background.size)
    if off_px > allowed_px + found.uncertainty_px:
        raise CannotError(
            f"it lies {off_px:.1f} px off the pair, which was merged as aligned already "
            f"({allowed_px:.1f} px are allowed); align it too, or merge the pair without --aligned"
        )
    return np.eye(3)


def _off_px(matrix: Matrix, size: tuple[int, int]) -> float:
    """Return how far a matrix moves the middles of the picture's four quarters, RMS, px."""
    width, height = size
    points = [[(x * width, y * height) for x in (0.25, 0.75) for y in (0.25, 0.75)]]
    at = np.array(points, np.float64)
    moved = cv2.perspectiveTransform(at, matrix) - at
    return float(np.sqrt(np.square(moved).sum(axis=2).mean()))


def _bridge_disc_px(
    job: Job, frame: Frame, pixels: Float, covered: Bool, grains: tuple[float, float]
) -> Float:
    """Return the bridge frame's disc on the ground's map, by how it compares with the result.

    grains: standard deviation of the noise in the result and in the bridge frame.
    """
    relative = relative_blur(
        job.merged.pixels,
        pixels,
        covered,
        job.merged.settings.sharpness,
        grain=grains,
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
