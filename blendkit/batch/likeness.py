"""Likeness of small versions: whether two frames show one set-up, and which is sharper where.

The alignment's coarse search says where the frames lie, and by its *fine* channel (edges) how well
they agree.  That follows a sitter as readily as the scene, so a second figure counts every part of
the picture alike: *local*, the mean correlation in small windows.  A third compares broad colours
(`hues`).  The search's broad channel has no say: all skies over all ground are broadly alike.

Measured on 11,900 pairs of neighbouring frames of invented shoots (f/2.8 and f/16, focus at 6 and
2.5 m, hand held, poses that differ): of one set-up 99.8 % have an evidence above 1.7, of different
ones 0.6 %; those have the same sitter before the same sky.  Time and order tell these apart.
"""

from dataclasses import dataclass

import cv2
import numpy as np

from blendkit.alignment.coarse import coarse_search
from blendkit.filters.bands import band_pass, gaussian, window_mean
from blendkit.frame import Float, Matrix
from blendkit.settings import AlignmentSettings

_SHIFT_ONLY = AlignmentSettings(coarse_size_px=96, rotation_range_deg=0, scale_range=0)
_DARK = 2e-3
"""Light below this (9 stops under white) is noise; it bounds the logarithm."""

CLEARLY = 0.7
"""Ratio of fine contrast, in powers of two, that counts as sharper."""


_ALL_FINE = 0.6
"""Correlation of edges from which on more says nothing: 97 % of the pairs of one set-up reach
it, 0.2 % of those of different ones."""
_FINE, _HUES, _USUAL_HUES = 1.7, 1.4, 0.8
"""Weights of edges and of colour beside *local*, by logistic regression, and the agreement of hues
that speaks neither for one set-up nor against."""


@dataclass(frozen=True, eq=False, slots=True)
class Likeness:
    """How much two small versions show the same.

    fine: masked correlation of edges, -1 to 1.
    local: mean correlation in windows, -1 to 1.
    matrix: 3x3, px of the first to px of the second small version.
    hues: agreement of broad colours, -1 to 1; _USUAL_HUES, which says nothing, if not known.
    """

    fine: float
    local: float
    matrix: Matrix
    hues: float = _USUAL_HUES

    @property
    def evidence(self) -> float:
        """Return all figures as one, about 0 (nothing in common) to 3 (the same)."""
        grey = _FINE * min(1.0, self.fine / _ALL_FINE) + self.local
        return grey + _HUES * (self.hues - _USUAL_HUES)

    @property
    def share(self) -> float:
        """Return the evidence on a scale from 0 to 1, for people."""
        return float(np.clip(self.evidence / 3, 0, 1))


def likeness(first: Float, second: Float) -> Likeness:
    """Compare two small versions of one shape, float32 (height, width)."""
    found = coarse_search(first, second, _SHIFT_ONLY)
    best = {item.channel: item for item in reversed(found)}
    soft, fine = best["soft"], best["fine"]
    # The fine channel may follow a sitter who moved; the soft one is a px or two less exact.
    laid = [(_local(first, second, item.matrix), item.matrix) for item in (fine, soft)]
    local, matrix = max(laid, key=lambda pair: pair[0])
    return Likeness(fine.score, local, matrix)


def _local(first: Float, second: Float, matrix: Matrix) -> float:
    """Return the mean windowed correlation of the middle band of log light."""
    one, other = (band_pass(logs(small), 1.5, 6.0) for small in (first, second))
    moved, real = laid_on(other, matrix)
    shared = gaussian(one * moved, 8.0)
    power = gaussian(np.square(one), 8.0), gaussian(np.square(moved), 8.0)
    correlation = shared / np.sqrt(power[0] * power[1] + 1e-8)
    weight = np.minimum(*power) ** 0.25 * real
    return float((weight * correlation).sum() / (weight.sum() + 1e-12))


def laid_on(values: Float, matrix: Matrix) -> tuple[Float, Float]:
    """Return a picture sampled at matrix @ x, and 1 where it is real, both (height, width)."""
    size = (values.shape[1], values.shape[0])
    flags = cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP
    moved = cv2.warpPerspective(values, matrix, size, flags=flags, borderMode=cv2.BORDER_REPLICATE)
    real = cv2.warpPerspective(np.ones_like(values), matrix, size, flags=flags)
    return np.asarray(moved, np.float32), np.asarray(real > 0.99, np.float32)


def logs(small: Float) -> Float:
    """Return log2 of a small version's light, bounded below by noise."""
    return np.log2(np.maximum(small, _DARK)).astype(np.float32)


def sharpness_change(first: Float, second: Float, matrix: Matrix) -> tuple[Float, Float]:
    """Return log2 of the first's fine contrast over the second's, and how much it counts.

    Both float32 (height, width) on the first's grid.
    """
    moved, real = laid_on(second, matrix)
    one, other = contrast(first), contrast(moved)
    level = 0.5 * float(np.median(one) + np.median(other)) + 1e-6
    change = np.log2((one + level) / (other + level))
    return np.asarray(change, np.float32), np.asarray(np.maximum(one, other) * real, np.float32)


def sharper_shares(first: Float, second: Float, matrix: Matrix) -> tuple[float, float]:
    """Return the shares of the contrast in which the first, and the second, is clearly sharper.

    Two apertures: one of them is near 0.  Two focus distances: neither, as a rule.
    """
    change, weight = sharpness_change(first, second, matrix)
    total = float(weight.sum()) + 1e-12
    clearly = change > CLEARLY, change < -CLEARLY
    return float(weight[clearly[0]].sum()) / total, float(weight[clearly[1]].sum()) / total


def contrast(small: Float) -> Float:
    """Return local fine contrast of a small version: RMS of a thin band of log light."""
    band = band_pass(logs(small), 0.7, 2.0)
    side = 2 * (max(small.shape) // 40) + 1
    return np.sqrt(window_mean(np.square(band), side))
