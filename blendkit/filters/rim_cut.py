"""Blur by the discs of a lens whose rims cut its pupil off axis, which turns them into cat's eyes.

Wide open, the front and the rear rim of a fast lens cover the pupil from two sides, the more the
farther off axis (mechanical vignetting).  What is left open is the overlap of two circles, and so
is the image of a point out of focus: narrow along the line to the picture's centre, with its tips
across.
"""

from collections.abc import Iterator
from dataclasses import dataclass

import cv2
import numpy as np

from blendkit.filters.disc import disc_blur, overlap_kernel
from blendkit.filters.resample import coordinate_at_scale
from blendkit.filters.tiles import Window, inside, with_margin
from blendkit.frame import Float

_CELLS = 6
"""Cells along the long side at whose corners a kernel is exact; between them four are mixed."""


@dataclass(frozen=True, slots=True)
class RimCut:
    """How the rims of a lens cut its pupil over a picture.

    share: how far, in the picture's corners, the circles that bound the pupil lie apart, in pupil
        diameters; 0 = not at all, so that the rest has no meaning.
    center_px: the picture's centre (x, y); reach_px: how far its corners lie from there.
    """

    share: float = 0.0
    center_px: tuple[float, float] = (0.0, 0.0)
    reach_px: float = 1.0

    @classmethod
    def over(cls, shape: tuple[int, ...], share: float) -> "RimCut":
        """Return the cut over a whole picture of this shape, (height, width)."""
        center = (shape[1] - 1) / 2, (shape[0] - 1) / 2
        return cls(share, center, float(np.hypot(shape[1], shape[0])) / 2)

    def reduced(self, factor: int) -> "RimCut":
        """Return the same over the picture reduced by a factor, in its px."""
        x, y = (coordinate_at_scale(at, 1 / factor) for at in self.center_px)
        return RimCut(self.share, (x, y), self.reach_px / factor)

    def enlarged(self, factor: int) -> "RimCut":
        """Return the same over the picture of which this is the one reduced by a factor."""
        x, y = (coordinate_at_scale(at, factor) for at in self.center_px)
        return RimCut(self.share, (x, y), self.reach_px * factor)

    def within(self, part: Window) -> "RimCut":
        """Return the same over a part of the picture."""
        x, y = self.center_px
        return RimCut(self.share, (x - part[1].start, y - part[0].start), self.reach_px)

    def at(self, x: float, y: float) -> tuple[float, float]:
        """Return how far the circles lie apart at a place, (x, y) in pupil diameters.

        >>> RimCut(0.6, (300.0, 200.0), 360.0).at(300, 380)
        (0.0, 0.3)
        """
        across, down = x - self.center_px[0], y - self.center_px[1]
        return self.share * across / self.reach_px, self.share * down / self.reach_px


def cut_kernel(diameter_px: float, apart: tuple[float, float]) -> Float:
    """Return the kernel of a disc, of this diameter, that another one cuts to a lens.

    apart: (x, y) from one's centre to the other's, in diameters; their middle is the kernel's.

    >>> kernel = cut_kernel(21.0, (0.5, 0.0))
    >>> kernel.shape, int((kernel[10] > 0).sum()), int((kernel[:, 10] > 0).sum())
    ((21, 21), 11, 19)
    """
    x, y = (part * diameter_px / 2 for part in apart)
    return overlap_kernel(diameter_px, ((x, y), (-x, -y)))


def cut_blur(values: Float, diameter_px: float, rim: RimCut) -> Float:
    """Blur an array as a lens does whose rims cut its discs; the array's own rim repeats.

    Parameters
    ----------
    values : ndarray
        float32 (height, width) or (height, width, channels), reduced until the disc spans 24 to
        48 px, as `filters.disc` does: a kernel is applied directly.
    diameter_px : float
        Of the disc in the middle of the picture.
    rim : RimCut

    Returns
    -------
    ndarray
        float32, the input's shape.
    """
    if rim.share == 0:
        return disc_blur(values, diameter_px, border=cv2.BORDER_REPLICATE)
    blurred = np.zeros_like(values)
    margin_px = int(np.ceil(diameter_px / 2)) + 1
    for node, own, weight in _nodes(values.shape):
        near = with_margin(own, margin_px, values.shape)
        kernel = cut_kernel(diameter_px, rim.at(*node))
        part = cv2.filter2D(values[near], -1, kernel, borderType=cv2.BORDER_REPLICATE)
        shares = weight if values.ndim == 2 else weight[..., None]
        blurred[own] += shares * part[inside(own, near)]
    return blurred


def _nodes(shape: tuple[int, ...]) -> Iterator[tuple[tuple[float, float], Window, Float]]:
    """Yield places (x, y), what of a picture lies near each, and its share there; they sum to 1."""
    rows, columns = (_hats(size, max(shape[:2])) for size in shape[:2])
    for y, down in rows:
        for x, across in columns:
            top, left = (np.flatnonzero(hat) for hat in (down, across))
            own = slice(int(top[0]), int(top[-1]) + 1), slice(int(left[0]), int(left[-1]) + 1)
            yield (x, y), own, np.outer(down[own[0]], across[own[1]])


def _hats(size: int, long_side: int) -> list[tuple[float, Float]]:
    """Return evenly spaced places along a side, and the share of each px that is theirs."""
    count = max(round(_CELLS * size / long_side), 1)
    spacing = max((size - 1) / count, 1.0)
    away = np.arange(size)[None, :] - spacing * np.arange(count + 1)[:, None]
    shares = np.clip(1 - np.abs(away) / spacing, 0, 1).astype(np.float32)
    return [(spacing * n, hat) for n, hat in enumerate(shares) if hat.any()]
