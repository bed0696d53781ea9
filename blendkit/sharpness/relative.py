"""Relative blur: the disc by which the sharper frame must be blurred to look like the softer one.

For a ladder of discs one frame is blurred and subtracted from the other; the disc that leaves least
in a window is the answer (Subbarao & Surya 1994, IJCV 13(3), doi:10.1007/BF02028349, compare two
apertures so; they solve in closed form for small discs, a ladder holds for large ones too).
Comparing the pictures themselves rather than their contrast uses the alignment: grain and a veil
have contrast, but not the other frame's.  What grain alone would leave is subtracted.
"""

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from blendkit.filters.bands import gaussian, slow_gaussian, window_mean
from blendkit.filters.disc import disc_blur, disc_kernel
from blendkit.filters.resample import enlarge, reduce_by, share_in_cells
from blendkit.filters.threads import each_part
from blendkit.frame import Bool, Float, luminance
from blendkit.memory import unwritten
from blendkit.settings import SharpnessSettings
from blendkit.sharpness import RelativeBlur

_LIGHT_FLOOR = 0.01
_MIDDLE_GREY = 0.18
_LEAST_CONTRAST = 0.01
_NOTHING = 1e-4
"""Usable share of a window that is as good as none: there no disc is better than another."""
_SAME_PX = 1.0
"""A disc that changes nothing: it lies within one px."""
_SMALL_PX = 2.0
_SHARPER_PX = 2.0
"""Disc from which the background frame is taken for the sharper one behind: less is measurement."""
_HERS = 0.5
_OF_LUMINANCE = 0.74
"""Grain of luminance over that of one channel, where the channels' grain is independent."""


def relative_blur(
    background: Float,
    foreground: Float,
    usable: Bool,
    settings: SharpnessSettings,
    *,
    grain: tuple[float, float] = (0.0, 0.0),
    graded: bool = False,
) -> RelativeBlur:
    """Map the disc between two aligned, light-matched frames.

    Parameters
    ----------
    background, foreground : ndarray
        Linear light, float32 (height, width, 3), on one grid.
    usable : ndarray
        bool (height, width): False where a frame is missing, clipped, or where foreground is
        known to stand.
    settings : SharpnessSettings
        working_size_px, largest_disc_share, window_share.
    grain : (float, float)
        Noise of both frames at middle grey, linear standard deviation: contrast below it is none.
    graded : bool
        Read small discs by degrees.  A disc of one px is the pixel itself, so without this all
        discs below about 1.5 px of the working scale read as half a px.

    Returns
    -------
    RelativeBlur
    """
    factor = max(round(max(usable.shape) / settings.working_size_px), 1)
    share = share_in_cells(usable, factor)
    b, f = (_evened(reduce_by(luminance(p), factor)) for p in (background, foreground))
    ladder = disc_ladder(settings.largest_disc_share * max(b.shape))
    if graded:
        ladder = [disc for disc in ladder if abs(disc) != _SAME_PX]
    side = 2 * round(settings.window_share * max(b.shape)) + 1
    costs = _costs((b, f), share, ladder, side)
    floor = (max(grain) / _MIDDLE_GREY / factor) ** 2 + _LEAST_CONTRAST**2
    disc, confidence = _best(costs, ladder, (b, f), share, side, floor)
    if graded:
        energies = tuple((_OF_LUMINANCE * g / _MIDDLE_GREY / factor) ** 2 for g in grain)
        left = np.array([_grain_left(d, *energies) for d in ladder], np.float32)
        disc = _graded(costs - left[:, None, None], ladder)
    return RelativeBlur(disc * factor, confidence, factor)


def disc_ladder(largest_px: float) -> list[float]:
    """Return the signed discs to try, px of the working scale, in rising order.

    Examples
    --------
    >>> [round(d, 1) for d in disc_ladder(4)]
    [-4.5, -3.0, -2.0, -1.0, 0.0, 1.0, 2.0, 3.0, 4.5]
    """
    sizes = [1.0, 2.0]
    while sizes[-1] < largest_px:
        sizes.append(sizes[-1] * 1.5 if sizes[-1] < 6 else sizes[-1] * 1.3)
    return [-d for d in reversed(sizes)] + [0.0, *sizes]


def _evened(light: Float) -> Float:
    """Return light divided by its wide mean, so that shadows weigh as much as lights."""
    wide = gaussian(light, max(light.shape) / 15)
    return np.asarray(light / (wide + _LIGHT_FLOOR), np.float32)


def _costs(frames: tuple[Float, Float], share: Float, ladder: Sequence[float], side: int) -> Float:
    """Return the windowed mean square differences with one frame blurred, (discs, height, width).

    The background frame is the softer one for a disc above 0.
    """
    costs = np.empty((len(ladder), *share.shape), np.float32)
    counted = window_mean(share, side) + 1e-3

    def compare(size_px: float) -> None:
        seen = disc_blur(share, size_px) + 1e-3
        for index in (k for k, disc in enumerate(ladder) if abs(disc) == size_px):
            soft, sharp = frames if ladder[index] > 0 else frames[::-1]
            difference = (soft - disc_blur(sharp * share, size_px) / seen) * share
            # A thin high-pass with respect to the window: slow differences of light are not blur.
            slow = window_mean(difference, side) / counted
            costs[index] = window_mean(np.square(difference - slow * share), side) / counted

    each_part(compare, sorted({abs(disc) for disc in ladder}, reverse=True))
    return costs


def _best(
    costs: Float,
    ladder: Sequence[float],
    frames: tuple[Float, Float],
    share: Float,
    side: int,
    floor: float,
) -> tuple[Float, Float]:
    """Pick the disc of least cost, refined by a parabola over the ladder's steps."""
    lowest = np.argmin(costs, axis=0)
    index = np.clip(lowest, 1, len(ladder) - 2)
    below, least, above = (
        np.take_along_axis(costs, (index + k)[None], axis=0)[0] for k in (-1, 0, 1)
    )
    bend = below - 2 * least + above
    offset = np.clip(0.5 * (below - above) / (bend + 1e-12), -0.5, 0.5)
    offset = np.where(lowest == index, offset, lowest - index)  # the ladder's ends
    steps = np.asarray(ladder, np.float32)
    disc = np.interp(index + offset, np.arange(len(ladder)), steps).astype(np.float32)
    disc[window_mean(share, side) < _NOTHING] = 0
    energy = np.maximum(*(_window_variance(frame, share, side) for frame in frames))
    fits = np.clip(1 - least / (energy + 1e-9) * 1.5, 0, 1)
    textured = energy / (energy + 4 * floor)
    decided = np.clip(1 - least / (np.median(costs, axis=0) + 1e-9), 0, 1)
    covered = np.clip(window_mean(share, side) * 2 - 0.5, 0, 1)
    return disc, np.asarray(fits * textured * decided * covered, np.float32)


def _grain_left(disc_px: float, of_background: float, of_foreground: float) -> float:
    """Return the mean square that grain alone leaves when one frame is blurred by a signed disc."""
    soft, sharp = (of_background, of_foreground)[:: 1 if disc_px > 0 else -1]
    return soft + sharp * float(np.square(disc_kernel(abs(disc_px))).sum())


def _graded(costs: Float, ladder: Sequence[float]) -> Float:
    """Return the signed disc of least cost by a parabola over `_effect`, px."""
    lowest = np.argmin(costs, axis=0)
    index = np.clip(lowest, 1, len(ladder) - 2)
    places = _effect(np.asarray(ladder, np.float64))
    below, least, above = (np.take_along_axis(costs, (index + k)[None], 0)[0] for k in (-1, 0, 1))
    before, here, after = (places[index + k] for k in (-1, 0, 1))
    one, other = (here - before) * (least - above), (here - after) * (least - below)
    shift = 0.5 * ((here - before) * one - (here - after) * other) / (one - other + 1e-20)
    effect = np.clip(here - shift, (before + here) / 2, (here + after) / 2)
    effect = np.where(lowest == index, effect, places[lowest])  # the ladder's ends
    disc = np.sign(effect) * _SMALL_PX * np.sqrt(np.expm1(np.abs(effect)))
    return np.asarray(disc, np.float32)


def _effect(disc_px: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return what a signed disc does to a picture, on a scale on which the cost is a parabola.

    Small discs take detail by the kernel's variance, large ones by their ratio to each other.
    """
    return np.asarray(np.sign(disc_px) * np.log1p(np.square(disc_px / _SMALL_PX)), np.float64)


def _window_variance(values: Float, share: Float, side: int) -> Float:
    mean = window_mean(values * share, side) / (window_mean(share, side) + 1e-3)
    square = window_mean(np.square(values - mean) * share, side)
    return np.asarray(square / (window_mean(share, side) + 1e-3), np.float32)


def filled(
    blur: RelativeBlur,
    size: tuple[int, int],
    *,
    spread_share: float = 0.02,
    apart: Bool | None = None,
) -> Float:
    """Return the disc map at full size (width, height), unsure places filled from sure ones.

    Normalised averaging at growing widths (Knutsson & Westin 1993, CVPR,
    doi:10.1109/CVPR.1993.341081): each place takes the narrowest mean that rests on enough.
    apart: bool, full size, a sitter: what is measured on her is not spread to what lies beside her,
    which is painted, perhaps, and has no measurement of its own.
    """
    weight = np.asarray(np.square(blur.confidence) + 1e-6, np.float32)
    width = spread_share * max(blur.disc_px.shape)
    result = _spread(blur.disc_px, weight, width)
    if apart is not None and apart.any():
        share = share_in_cells(apart, blur.factor)
        beside = _spread(blur.disc_px, np.where(share > 0, np.float32(1e-6), weight), width)
        result = np.where(share > _HERS, result, beside)
    return enlarge(result, blur.factor, size)


def _spread(disc_px: Float, weight: Float, width: float) -> Float:
    result = np.zeros_like(disc_px)
    remaining = np.ones_like(disc_px)
    for k in range(6):
        sigma = width * 2**k
        mass = slow_gaussian(weight, sigma)
        mean = slow_gaussian(np.asarray(weight * disc_px, np.float32), sigma) / mass
        enough = np.clip(mass / 0.15, 0, 1) if k < 5 else np.ones_like(mass)
        result += remaining * enough * mean
        remaining *= 1 - enough
    return result


def sharper_by(disc_px: Float) -> Float:
    """Return by which disc, px, the background frame is the sharper one, else 0, (height, width).

    disc_px: as `filled` gives it, below 0 where the foreground frame is the softer one.
    """
    sharper = disc_px < -_SHARPER_PX
    found = unwritten(disc_px.shape)
    found[sharper] = -disc_px[sharper]
    return found
