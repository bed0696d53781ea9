"""Soft ground from a third frame that is sharp there."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import NDArray

from blendkit.alignment.estimate import align
from blendkit.alignment.photometric import fit_light
from blendkit.alignment.relight import apply_light
from blendkit.alignment.warp import warp_to_background
from blendkit.errors import AlignmentError, InputError
from blendkit.filters.bands import gaussian
from blendkit.filters.resample import enlarge, reduce_by
from blendkit.frame import Bool, Float, Frame, Matrix, Source
from blendkit.midground.bridging import bridge_disc_px
from blendkit.repair.job import CannotError, Job, Made, share_of
from blendkit.repair.same_scene import check_same_scene, loose_px
from blendkit.sharpness.noise import measure_noise
from blendkit.sharpness.relative import relative_blur

_JOINT_CELLS = 1.5
"""Half the width, in cells of the blur map, over which one bridge frame passes into the next."""


def bridge(job: Job) -> Made:
    """Fill each place of the zone from the bridge frame that is sharpest there."""
    laid: list[_Laid] = []
    refused: list[str] = []
    for frame in job.bridges:
        try:
            laid.append(_laid(job, frame))
        except CannotError as reason:
            refused.append(f"{frame.name} was not used: {reason}")
    if not laid:
        raise CannotError("; ".join(refused))
    used, part = _sharpest(job, laid)
    discs = np.array([one.disc_px for one in used])
    before, disc = job.ground.disc_px, np.take_along_axis(discs, part[None], axis=0)[0]
    zone = _zone(job, disc)
    ground = replace(job.ground, disc_px=np.where(zone, disc, before).astype(np.float32))
    pixels, share = _joined(job, used, part, zone)
    worst_px = float(np.quantile(disc[job.soft], 0.9))
    names = " and ".join(one.frame.name for one in used)
    leave = "leaves" if len(used) == 1 else "together leave"
    why = "; ".join([f"{names} {leave} a disc of up to {worst_px:.1f} px there", *refused])
    return Made(pixels, share, ground, Source.BRIDGE_FRAME, why)


@dataclass(frozen=True, eq=False, slots=True)
class _Laid:
    """A bridge frame on the result's grid, in its light, with its disc on the ground's map."""

    frame: Frame
    pixels: Float
    covered: Float
    disc_px: Float


def _zone(job: Job, disc_px: Float) -> Bool:
    """Return where a disc on the ground's map is smaller than the result's, in and by the soft."""
    zone = job.ground.surface.region & (disc_px < job.ground.disc_px)
    zone &= cv2.dilate(job.soft.astype(np.uint8), np.ones((9, 9), np.uint8)) > 0
    return np.asarray(zone, np.bool_)


def _sharpest(job: Job, laid: Sequence[_Laid]) -> tuple[list[_Laid], NDArray[np.intp]]:
    """Return the frames that are sharpest somewhere in the zone, and which of them is where.

    Which: index into the frames, the map's shape.  A frame counts as far as it reaches.
    """
    reach = [reduce_by(one.covered, job.blur.factor) > 0.5 for one in laid]
    discs = np.array(
        [np.where(here, one.disc_px, np.inf) for one, here in zip(laid, reach, strict=True)]
    )
    used = np.unique(discs.argmin(axis=0)[_zone(job, discs.min(axis=0))]).tolist()
    if not used:  # nothing is sharper than the result: the least soft says how much is left
        used = [int(np.argmin([one.disc_px[job.soft].mean() for one in laid]))]
    return [laid[index] for index in used], discs[used].argmin(axis=0)


def _joined(
    job: Job, used: Sequence[_Laid], part: NDArray[np.intp], zone: Bool
) -> tuple[Float, Float]:
    """Return the pixels that fill a zone and the share they take, full size.

    Frames pass into each other where they are equally sharp; their shares add up to the zone's, so
    that nothing of the soft ground shows through between them.
    """
    whole = share_of(job, zone)
    if len(used) == 1:
        return used[0].pixels, whole * used[0].covered
    # np.zeros takes memory only where it is written to, and soft ground is a part of the picture
    pixels, total = np.zeros(used[0].pixels.shape, np.float32), np.zeros(whole.shape, np.float32)
    for index, one in enumerate(used):
        own = gaussian((part == index).astype(np.float32), _JOINT_CELLS)
        share = whole * enlarge(own, job.blur.factor, job.background.size) * one.covered
        inside = share > 0
        pixels[inside] += share[inside, None] * one.pixels[inside]
        total += share
    filled = total > 0
    pixels[filled] /= total[filled, None]
    return pixels, np.minimum(total, whole)


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
