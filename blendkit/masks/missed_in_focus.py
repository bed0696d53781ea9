"""Foreground that a matte has missed although it alone is in focus.

A foreground frame focused on the boughs spreads what lies behind them.  Whatever shows finer detail
there than all that lies outside the mask is in front, even where its colour says otherwise, as a
yellow leaf's before yellow woods.  Where the foreground frame is sharp all over, nothing inside is
sharper than outside, and nothing is said.

How fine detail is, the energies of two bands tell (as in `alignment.sharpest`): at each energy of a
coarser one, how much more often the finer one has its energy inside than outside.  As for colours,
the chance of foreground follows (Elkan & Noto 2008, see `evidence`).  An outside without coarser
detail, plain sky, tells nothing.
"""

import cv2
import numpy as np
from numpy.typing import NDArray

from blendkit.filters.bands import band_pass, gaussian
from blendkit.filters.circles import round_kernel
from blendkit.frame import Bool, Float, luminance

_FINE_PX, _WINDOW_PX = (0.7, 1.4), 2.0
_COARSER_PX = ((1.4, 2.8), 2.0), ((4.0, 8.0), 4.0)
"""Bands, as two standard deviations, and the windows of their energies.  Under a disc of 24 px only
the coarsest holds anything outside that could be compared."""
_BINS, _FROM_LOG2, _TO_LOG2 = 24, -18.0, -2.0
_KNOWN = 100
"""Pixels outside at an energy of the coarser band, from which what is fine there is known."""
_LEAST = 1e-4
_LIKELY = 0.5
_FOUND, _EDGE_PX, _LEAST_SEEN = 0.5, 2, 0.2
"""Coverage and distance to which what was found explains an edge, and the share of a window that
must be left.  From a coverage of 0.1 on, leaves that were half found got no help."""
_REACH_PX = 5
"""A rim or gap narrower than twice this is no leaf: windows reach past a twig that was found, and a
coarse scale holds twigs that only a finer one will find.  With 3 px half a dB was lost between
twigs on simulated pairs that need no help."""


def missed_in_focus(foreground: Float, hint: Float, matte: Float, scale: float) -> Float:
    """Return the chance of foreground where a matte has none but all that is in focus is inside.

    Parameters
    ----------
    foreground : ndarray
        Foreground frame at a scale of at most some 1600 px, float32 (height, width, 3), linear.
    hint : ndarray
        1 where foreground may stand, float32 (height, width).
    matte : ndarray
        As found so far, float32 (height, width).
    scale : float
        From `evidence.exposure_scale`.

    Returns
    -------
    ndarray
        float32 (height, width); 0 where nothing was missed.
    """
    inside = hint > _LIKELY
    if inside.all() or not inside.any():
        return np.zeros(hint.shape, np.float32)
    unknown = cv2.erode((matte < _FOUND).astype(np.uint8), round_kernel(_EDGE_PX))
    chance = _chance(foreground, inside, unknown.astype(np.float32), scale)
    left = ((chance > _LIKELY) & (matte < _LIKELY)).astype(np.uint8)
    whole = cv2.morphologyEx(left, cv2.MORPH_OPEN, round_kernel(_REACH_PX))
    return np.asarray(chance * whole, np.float32)


def _chance(foreground: Float, inside: Bool, unknown: Float, scale: float) -> Float:
    """Return the chance of foreground by its focus alone, 0 where what lies outside is as fine.

    unknown: 1 where no edge of what was found can be what is seen.
    """
    root = np.sqrt(np.clip(luminance(foreground) * np.float32(scale), 0, 4))
    fine = _energy_bin(root, _FINE_PX, _WINDOW_PX, unknown)
    chance = np.zeros(inside.shape, np.float32)
    for band, window_px in _COARSER_PX:
        bins = _energy_bin(root, band, window_px, unknown) * _BINS + fine
        chances = _chances(*(_counts(bins[where]) for where in (inside, ~inside)))
        np.maximum(chance, chances.ravel()[bins], out=chance)
    return np.asarray(chance * inside, np.float32)


def _chances(front: NDArray[np.float64], back: NDArray[np.float64]) -> Float:
    """Return the chance of foreground in each pair of bins, from how often each occurs."""
    share_front, share_back = (
        counts / np.maximum(counts.sum(axis=1, keepdims=True), 1) for counts in (front, back)
    )
    middle = (share_back * np.arange(_BINS)).sum(axis=1, keepdims=True)
    said = (back.sum(axis=1, keepdims=True) > _KNOWN) & (np.arange(_BINS) > middle)
    ratio = np.where(said, (share_front + _LEAST) / (share_back + _LEAST), 1)
    return np.asarray(np.maximum(1 - 1 / ratio, 0), np.float32)


def _energy_bin(
    root: Float, band_px: tuple[float, float], window_px: float, unknown: Float
) -> NDArray[np.int32]:
    energy = gaussian(np.square(band_pass(root, *band_px)) * unknown, window_px)
    energy /= np.maximum(gaussian(unknown, window_px), np.float32(_LEAST_SEEN))
    place = (np.log2(energy + 1e-9) - _FROM_LOG2) / (_TO_LOG2 - _FROM_LOG2)
    return np.asarray(np.clip(place * _BINS, 0, _BINS - 1), np.int32)


def _counts(bins: NDArray[np.int32]) -> NDArray[np.float64]:
    """Return how often each pair of bins occurs, smoothed, (coarse, fine)."""
    counts = np.bincount(bins, minlength=_BINS * _BINS).reshape(_BINS, _BINS).astype(np.float32)
    smooth = cv2.GaussianBlur(counts, (5, 5), 0.9, borderType=cv2.BORDER_REPLICATE)
    return np.asarray(smooth, np.float64)
