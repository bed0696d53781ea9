"""Flag of a frame that the camera shook: detail lost along one direction, not evenly.

A picture has directions of its own, trunks or bricks, and even blur takes more from detail that is
fine across them.  So the frames are compared cell by cell, and the sharper one is first blurred by
the disc that leaves it as much detail as the other has.  After even blur both then agree in every
direction; after shake the other has lost more along it than across.  Cells in which that disc is
large stand at another distance and tell nothing: there defocus hides what shake does.
"""

from collections.abc import Iterator
from dataclasses import dataclass

import cv2
import numpy as np

from blendkit.filters.bands import gaussian
from blendkit.filters.disc import disc_blur
from blendkit.filters.resample import reduce_by, share_in_cells
from blendkit.frame import Bool, Capture, Float, luminance
from blendkit.midground import Flag, Severity

_WORKING_PX, _CELL_PX = 600, 30
_ANGLES_DEG = np.arange(0, 180, 22.5)
_SIGMA_PX = 0.8
_DISCS_PX = (0.0, 0.7, 1.0, 1.4, 2.0, 2.8, 4.0)
"""Discs that may make both frames alike, px of the working size.  With discs of up to 6 px upright
trunks behind, 10 px out of focus, pass for shaken."""
_UNEVEN = (1.5, 2.5)
"""Energy left across over energy left along, from which somebody is told, and loudly: by 6 and 8 px
of 512.  Of 20 pairs of the bench and 12 invented woods, none of them shaken, none reaches 1.3."""
_LEAST_TEXTURE = 4.0
_LOST = 0.8
"""Energy left, over the sharper frame's, up to which a cell may have been shaken at all."""
_LEAST_CELLS = 10
"""Seven cells of hills told of shake that was none; a sitter fills forty."""


@dataclass(frozen=True, eq=False, slots=True)
class _Detail:
    """Gradient energies of a frame in cells, noise taken out: (discs, rows, columns, angles).

    noise: what was taken out without a disc.
    """

    energies: Float
    noise: float

    @property
    def total(self) -> Float:
        """Return the energy over all angles, (discs, rows, columns)."""
        return np.asarray(self.energies.sum(axis=3), np.float32)


def shaken(
    background: Float,
    aligned: Float,
    noise_sigma: tuple[float, float],
    usable: Bool,
    captures: tuple[Capture, Capture],
) -> Iterator[Flag]:
    """Flag a frame that lost detail along one direction.

    Parameters
    ----------
    background, aligned : float32 (height, width, 3), linear, on one grid.
    noise_sigma : of each at middle grey.
    usable : bool (height, width): covered, not clipped, no foreground.
    captures : of both frames; the message names the exposure time.
    """
    factor = max(round(max(usable.shape) / _WORKING_PX), 1)
    share = share_in_cells(usable, factor)
    known = [
        _detail(luminance(reduce_by(frame, factor)), 0.7 * sigma / factor, share)
        for frame, sigma in zip((background, aligned), noise_sigma, strict=True)
    ]
    whole = reduce_by(share, _CELL_PX) > 0.9
    for second, name in enumerate(("background", "foreground")):
        ratio = _left_over(known[second], known[1 - second], whole)
        spread = 1.0 if ratio is None else float(ratio.max() / ratio.min())
        if ratio is None or spread < _UNEVEN[0]:
            continue
        severity: Severity = "fail" if spread > _UNEVEN[1] else "warn"
        time = captures[second].shutter
        taken = f" ({time})" if time else ""
        yield Flag(
            "shaken",
            severity,
            np.asarray(usable),
            f"the {name} frame{taken} shows {spread:.1f} times as much detail across "
            f"{_ANGLES_DEG[int(np.argmin(ratio))]:.0f} degrees (0 = level, counter-clockwise) as "
            "along: the camera shook",
            "use a tripod or a shorter exposure, or take another frame of the series",
        )


def _left_over(softer: _Detail, sharper: _Detail, whole: Bool) -> Float | None:
    """Return what a frame has left of the other's detail, by angle, beyond an even loss.

    The median of the cells in which it is the softer one, by no more than shake would make it; None
    where there are few.  whole: bool (rows, columns), cells that may be compared.
    """
    total, others = softer.total[0], sharper.total
    # The first disc that takes as much, and how far beyond the one before it lies.
    index = np.argmax(others <= total, axis=0)
    lost = (total < _LOST * others[0]) & (index > 0)
    textured = total > _LEAST_TEXTURE * max(softer.noise, 1e-12) * len(_ANGLES_DEG)
    cells = np.nonzero(whole & lost & textured)
    if len(cells[0]) < _LEAST_CELLS:
        return None
    after = index[cells]
    least, most = others[(after, *cells)], others[(after - 1, *cells)]
    part = ((most - total[cells]) / (most - least))[:, None]
    evened = (1 - part) * sharper.energies[(after - 1, *cells)]
    evened += part * sharper.energies[(after, *cells)]
    return np.asarray(np.median(softer.energies[(0, *cells)] / evened, axis=0), np.float32)


def _detail(light: Float, sigma: float, share: Float) -> _Detail:
    """Return a frame's energies in cells, blurred by each disc; share: how much of a px counts."""
    counted = reduce_by(share, _CELL_PX)[..., None] + 1e-6
    angles = np.deg2rad(_ANGLES_DEG)
    # Rows run downwards: the direction measured counter-clockwise has y of the other sign.
    terms = np.stack([np.cos(angles) ** 2, np.sin(angles) ** 2, -np.sin(2 * angles)])
    found = []
    for disc_px in _DISCS_PX:
        x, y = _slopes(light, disc_px)
        products = np.stack([x * x, y * y, x * y], axis=2) * share[..., None]
        energy = (reduce_by(products, _CELL_PX) / counted) @ terms.astype(np.float32)
        found.append(np.maximum(energy - _noise(sigma, disc_px), 0.02 * energy + 1e-20))
    return _Detail(np.asarray(found, np.float32), _noise(sigma, 0.0))


def _slopes(light: Float, disc_px: float) -> tuple[Float, Float]:
    smooth = gaussian(disc_blur(light, disc_px), _SIGMA_PX)
    x = cv2.Sobel(smooth, cv2.CV_32F, 1, 0, ksize=3, scale=1 / 8)
    y = cv2.Sobel(smooth, cv2.CV_32F, 0, 1, ksize=3, scale=1 / 8)
    return np.asarray(x, np.float32), np.asarray(y, np.float32)


def _noise(sigma: float, disc_px: float) -> float:
    """Return the gradient energy of white noise after the disc, whose variance is D^2/16."""
    variance = _SIGMA_PX**2 + disc_px**2 / 16
    return float(sigma**2 / (8 * np.pi * variance**2))
