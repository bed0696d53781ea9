"""Points of the aperture, and the small kernels that stand for the area around each point."""

import numpy as np
from numpy.typing import NDArray

from blendkit.frame import Float

Points = NDArray[np.float64]
Offsets = NDArray[np.int64]


def rings_for(disc_px: float, *, spacing_px: float, samples: int) -> int:
    """Return how many rings of points keep the spacing under spacing_px within samples points.

    >>> rings_for(130.0, spacing_px=5.0, samples=400), rings_for(0.0, spacing_px=5.0, samples=400)
    (11, 0)
    """
    spacing = max(min(spacing_px, disc_px / 13), 1e-6)
    wanted = int(np.ceil((disc_px / spacing - 1) / 2)) if disc_px > 0 else 0
    affordable = int((np.sqrt(12 * max(samples, 1) - 3) - 3) / 6)
    return max(min(wanted, affordable), 0)


def pupil_points(rings: int, *, rng: np.random.Generator) -> Points:
    """Return 1 + 3 k (k + 1) points (x, y) that fill a disc of diameter 1 evenly.

    Ring j holds 6 j points, so each stands for the same area; every ring is turned by a random
    angle.  The set is symmetric about the centre: its mean is exactly zero, and blur never shifts a
    picture.
    """
    found = [np.zeros((1, 2))]
    for ring in range(1, rings + 1):
        angles = rng.uniform(0, 2 * np.pi) + np.arange(3 * ring) * np.pi / (3 * ring)
        half = ring / (2 * rings + 1) * np.stack([np.cos(angles), np.sin(angles)], axis=1)
        found += [half, -half]
    return np.concatenate(found)


def whole_offsets(points: Points, disc_px: float, footprint_px: float) -> Offsets:
    """Return the points' parallax in whole px, with the second moment of a true disc.

    Footprint and rounding both widen a disc.  The points are drawn in until points plus footprint
    have the variance (diameter/4)^2 of an even disc.
    """
    wanted = max(disc_px**2 - footprint_px**2, 0.0) / 16
    low, high = np.full(2, 0.8 * abs(disc_px)), np.full(2, 1.1 * abs(disc_px))
    for _ in range(12):
        middle = (low + high) / 2
        short = (np.rint(middle * points) ** 2).mean(axis=0) < wanted
        low, high = np.where(short, middle, low), np.where(short, high, middle)
    return np.asarray(np.sign(disc_px) * np.rint((low + high) / 2 * points), np.int64)


def disc_kernel(diameter_px: float) -> Float:
    """Return a normalised disc with the variance (diameter/4)^2 along each axis.

    Below 3 px that is a 3x3 kernel; above, an anti-aliased disc drawn in by what the px's own
    width adds to its variance.
    """
    if diameter_px < 3:
        side = diameter_px**2 / 32
        line = np.array([side, 1 - 2 * side, side])
        return np.outer(line, line).astype(np.float32)
    drawn = np.sqrt(diameter_px**2 - 4 / 3)
    reach = int(np.ceil(drawn / 2 + 0.5))
    fine = 8
    ticks = (np.arange((2 * reach + 1) * fine) + 0.5) / fine - reach - 0.5
    inside = ticks[:, None] ** 2 + ticks[None, :] ** 2 <= drawn**2 / 4
    side_px = 2 * reach + 1
    kernel = inside.reshape(side_px, fine, side_px, fine).mean(axis=(1, 3))
    return np.asarray(kernel / kernel.sum(), dtype=np.float32)
