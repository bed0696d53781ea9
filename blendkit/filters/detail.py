"""Fine detail of its own, and where it lies in the other frame.

What moved between two frames, a sitter in another pose, is nowhere alike when they are laid on each
other.  But only what is in focus has fine detail at all, and a correlation finds it again.
"""

import cv2
import numpy as np
from scipy import fft, ndimage

from blendkit.filters.bands import band_pass, gaussian
from blendkit.filters.circles import round_kernel
from blendkit.frame import Bool, Float, luminance

_FINE_PX, _COARSER_PX = (0.7, 2.0), (2.0, 5.7)
_LEAST_FINE = 0.12
"""Fine power over that of detail coarser by 1.5 octaves, below which it is the trace of a blur:
what is in focus on the named scenes has 0.15 and more nearly everywhere, discs of 8 px leave
0.05."""
_WINDOW_PX = 8.0
_ABOVE_NOISE = 6.0
_MOST_APART = 4.0
"""Ratio of both frames' fine power up to which a place counts as sharp in both."""
_CLOSED_SHARE = 1 / 32
_LEAST_PIECE = 0.004
_FARTHEST_SHARE = 0.06
_LEAST_MATCH, _STANDS_OUT = 0.25, 1.3
_ROUNDING = 1e-6
"""Share of the largest power below which a power is what the transforms' rounding left."""


def detailed_in_both(background: Float, aligned: Float) -> Bool:
    """Return where both frames show fine detail of like power nearby, holes and gaps closed.

    background, aligned: float32 (height, width, 3), linear, at a working size of some 640 px.
    Returns bool (height, width); pieces of less than 0.4 % of the frame are left out.
    """
    even = _even(background), _even(aligned)
    one, other = (_power(light, _FINE_PX) for light in even)
    # Most of a background frame is out of focus and shows its noise.
    floor = _ABOVE_NOISE * (float(np.quantile(one, 0.1)) + 1e-8)
    like = (one > floor) & (other > floor)
    like &= (one < _MOST_APART * other) & (other < _MOST_APART * one)
    for light, fine in zip(even, (one, other), strict=True):
        like &= fine > _LEAST_FINE * _power(light, _COARSER_PX)
    kernel = round_kernel(round(_CLOSED_SHARE * max(like.shape) / 2))
    closed = cv2.morphologyEx(like.astype(np.uint8), cv2.MORPH_CLOSE, kernel) > 0
    labels, count = ndimage.label(ndimage.binary_fill_holes(closed))
    large = np.bincount(labels.ravel(), minlength=count + 1) >= _LEAST_PIECE * labels.size
    large[0] = False
    return np.asarray(large[labels], np.bool_)


def _power(light: Float, band_px: tuple[float, float]) -> Float:
    return gaussian(np.square(band_pass(light, *band_px)), _WINDOW_PX)


def displacement_px(
    background: Float, aligned: Float, where: Bool, band_px: tuple[float, float] = _FINE_PX
) -> tuple[float, float] | None:
    """Return by which (x, y) a zone's detail lies elsewhere in the other frame.

    Parameters
    ----------
    background, aligned : ndarray
        float32 (height, width, 3), linear.
    where : ndarray
        bool (height, width), the zone in the background frame.
    band_px : (float, float)
        Standard deviations of the two Gaussians whose difference is compared, px.

    Returns
    -------
    (float, float) or None
        To a fraction of a px, by a parabola through the peak of the normalised correlation; None
        where nothing matches clearly better than what lies in place.
    """
    first, second = (band_pass(_even(frame), *band_px) for frame in (background, aligned))
    first = first * where
    reach = round(_FARTHEST_SHARE * max(where.shape))
    power = _correlated(where.astype(np.float32), np.square(second), reach)
    power *= max(float(np.square(first).sum()), 1e-12)
    match = _correlated(first, second, reach)
    # Where the other frame is plain, what the transforms left of it is rounding.
    match /= np.sqrt(np.maximum(power, _ROUNDING * float(power.max()) + 1e-12))
    row, column = (int(v) for v in np.unravel_index(int(np.argmax(match)), match.shape))
    best, still = float(match[row, column]), float(match[reach, reach])
    at_rim = not (0 < row < 2 * reach and 0 < column < 2 * reach)
    if at_rim or best < _LEAST_MATCH or best < _STANDS_OUT * still:
        return None
    x = column - reach + _vertex(match[row, column - 1 : column + 2])
    return x, row - reach + _vertex(match[row - 1 : row + 2, column])


def _vertex(three: Float) -> float:
    """Return where a parabola through three values peaks, -0.5 to 0.5 from the middle one.

    >>> _vertex(np.array([0.0, 3.0, 2.0], np.float32))
    0.25
    """
    before, here, after = (float(v) for v in three)
    bend = before - 2 * here + after
    return 0.5 * (before - after) / bend if bend < 0 else 0.0


def _correlated(first: Float, second: Float, reach: int) -> Float:
    """Return sum first(p) second(p + d) for |d| up to reach, (2 reach + 1, 2 reach + 1)."""
    shape = [fft.next_fast_len(n + reach, real=True) for n in first.shape]
    product = np.conj(fft.rfft2(first, shape)) * fft.rfft2(second, shape)
    whole = np.roll(fft.irfft2(product, shape), (reach, reach), axis=(0, 1))
    return np.asarray(whole[: 2 * reach + 1, : 2 * reach + 1], np.float32)


def _even(frame: Float) -> Float:
    """Return the square root of light, whose noise is about even over the tones."""
    return np.sqrt(np.maximum(luminance(frame), 0))
