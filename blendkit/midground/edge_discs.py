"""The disc that a frame's own edges show, without the other frame: blind, and only where edges are.

An edge blurred once more by a known Gaussian loses the less of its slope the softer it was
(Zhuo & Sim 2011, Pattern Recognition 44(9), doi:10.1016/j.patcog.2011.03.009, who model the lens
by a Gaussian; here a table of a step under a disc stands in).  Four pairs of Gaussians cover discs
from 1 to about 40 px; of each place's answers the finest that grain allows counts.
"""

from functools import cache

import cv2
import numpy as np
from numpy.typing import NDArray

from blendkit.filters.bands import gaussian, window_mean
from blendkit.frame import Float

_SIGMAS_PX = (0.8, 1.6, 3.2, 6.4)
_TABLE_PX = np.concatenate([np.arange(0, 8, 0.25), np.arange(8, 60, 1.0)])
_OVER_GRAIN = 6.0
_WITHIN_SIGMAS = 6.0


def edge_discs(light: Float, grain: Float, window_px: int) -> tuple[Float, Float]:
    """Measure the disc at a frame's edges, gathered over windows.

    Parameters
    ----------
    light : ndarray
        Linear luminance, float32 (height, width).
    grain : ndarray
        Its noise, standard deviation, same shape.
    window_px : int
        Window that edges are gathered over.

    Returns
    -------
    disc_px, weight : ndarray
        float32, the input's shape; weight is the share of a window that its edges cover, 0 = none.
    """
    disc = np.zeros_like(light)
    open_ = np.ones(light.shape, np.bool_)
    edges = np.zeros(light.shape, np.bool_)
    for sigma in _SIGMAS_PX:
        found, there, _ = crest_discs(light, grain, sigma)
        take = there & open_ & (found < _WITHIN_SIGMAS * sigma)
        disc[take] = found[take]
        edges |= take
        near = cv2.dilate(take.astype(np.uint8), np.ones((3, 3), np.uint8)) > 0
        open_ &= ~near
    mass = window_mean(edges.astype(np.float32), window_px)
    mean = window_mean(np.where(edges, disc, 0).astype(np.float32), window_px)
    return np.asarray(mean / np.maximum(mass, 1e-6), np.float32), mass


def crest_discs(light: Float, grain: Float, sigma: float) -> tuple[Float, NDArray[np.bool_], Float]:
    """Read discs at the crests of the slope, by one pair of Gaussians (sigma and twice that, px).

    Parameters
    ----------
    light, grain : as for `edge_discs`.
    sigma : of the narrower Gaussian, px; discs up to about six times that can be read.

    Returns
    -------
    disc_px : float32, the input's shape, of use at crests only.
    crest : bool, where the slope is greatest and above grain.
    slope : float32, under the wider Gaussian, per px.
    """
    fine, wide = _slope(light, sigma), _slope(light, 2 * sigma)
    crest = fine >= cv2.dilate(fine, np.ones((3, 3), np.uint8)) * 0.98
    # White noise under a Gaussian has slopes of deviation 1 / (2 sqrt(pi) sigma^2) a direction.
    noise = grain / (2 * np.sqrt(np.pi) * sigma**2) * np.sqrt(2)
    there = crest & (fine > _OVER_GRAIN * noise)
    ratio = fine / np.maximum(wide, 1e-9)
    table = _ratios(sigma)
    found = np.interp(ratio, table[::-1], _TABLE_PX[::-1])
    return found.astype(np.float32), there, wide


def _slope(light: Float, sigma: float) -> Float:
    smooth = gaussian(light, sigma)
    x = cv2.Sobel(smooth, cv2.CV_32F, 1, 0, ksize=3, scale=1 / 8)
    y = cv2.Sobel(smooth, cv2.CV_32F, 0, 1, ksize=3, scale=1 / 8)
    return np.asarray(cv2.magnitude(x, y), np.float32)


@cache
def _ratios(sigma: float) -> NDArray[np.float64]:
    """Return slope at sigma over slope at 2 sigma of a step under each disc of the table."""
    return np.array([_peak(disc, sigma) / _peak(disc, 2 * sigma) for disc in _TABLE_PX])


def _peak(disc: float, sigma: float) -> float:
    """Return the greatest slope of a unit step under a disc, a Gaussian, and a px of sampling."""
    at = np.linspace(-40, 40, 1601)
    chord = np.sqrt(np.maximum((disc / 2) ** 2 - at**2, 0))
    chord = chord / chord.sum() if disc >= 0.2 else (at == 0).astype(np.float64)
    own = np.exp(-0.5 * at**2 / (sigma**2 + 0.6**2))
    return float(np.convolve(chord, own / own.sum(), mode="same").max())
