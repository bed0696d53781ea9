"""Both frames' light in cells of a few per cent of the width, and how far each can be compared."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from blendkit.filters.bands import gaussian
from blendkit.filters.resample import put_reduced
from blendkit.filters.threads import each_part
from blendkit.filters.tiles import Window, tile_side, tiles
from blendkit.frame import Bool, Float

Places = tuple[NDArray[np.float32], NDArray[np.float32]]
"""Rows and columns, px."""

DARK = 2e-3
"""Light below this, of white, is noise and flare."""
_CELLS = 120
_SMOOTH_EV = 0.05
_TILE = 512


@dataclass(frozen=True, eq=False, slots=True)
class Cells:
    """Means in Gaussian windows.

    logs_b, logs_f: log2 of the mean light of both frames, float32 (h, w, 3).
    weight: how far they compare, float32 (h, w, 3).
    radial: r^2, r^4, r^6 averaged over the same windows, (h, w, 3).
    shape: (height, width) of the whole picture.  places: rows and columns of the windows in it, px.
    """

    logs_b: Float
    logs_f: Float
    weight: Float
    radial: NDArray[np.float64]
    shape: tuple[int, int]
    places: Places


def make_cells(background: Float, aligned: Float, usable: Bool, window_share: float) -> Cells:
    """Average two aligned frames over what is usable.

    Parameters
    ----------
    background, aligned : ndarray
        Linear light, float32 (height, width, 3).
    usable : ndarray
        bool (height, width).
    window_share : float
        Sigma of the window, of the long side.
    """
    # Two rows at least, however long the picture: a slope is taken across them.
    factor = max(min(round(max(usable.shape) / _CELLS), min(usable.shape) // 2), 1)
    share, *masked = _usable_means(background, aligned, usable, factor)
    width = window_share * max(share.shape)
    logs_b, logs_f = (_smooth_log(light, share, width) for light in masked)
    # At the rim a window holds only what lies inward: the radius must be averaged the same way.
    shape, places = (usable.shape[0], usable.shape[1]), _centres(usable.shape, factor)
    terms = radial_terms(shape, places)
    radial = _window_mean(terms * share[..., None], share, width).astype(np.float64)
    return Cells(logs_b, logs_f, _trust(logs_b, logs_f, share, width), radial, shape, places)


def _usable_means(background: Float, aligned: Float, usable: Bool, factor: int) -> list[Float]:
    """Return the share of usable px in cells, and both frames' light from them, reduced."""
    size = -(-usable.shape[0] // factor), -(-usable.shape[1] // factor)
    means = [np.zeros((*size, *more), np.float32) for more in ((), (3,), (3,))]

    def reduce_part(part: tuple[Window, Window]) -> None:
        own, _ = part
        here = usable[own][..., None]
        weight = usable[own].astype(np.float32)
        lights = (np.where(here, pixels[own], np.float32(0)) for pixels in (background, aligned))
        for small, values in zip(means, (weight, *lights), strict=True):
            put_reduced(small, values, own, factor)

    each_part(reduce_part, tiles(usable.shape, tile_side(_TILE, factor), 0))
    return means


def _centres(shape: tuple[int, ...], factor: int) -> Places:
    """Return where the cells of a reduced picture have their middles, rows and columns, px."""
    rows, columns = (
        np.arange(0, n, factor, dtype=np.float32) + (factor - 1) / 2 for n in shape[:2]
    )
    return rows, columns


def places_in(part: Window) -> Places:
    """Return the rows and columns of a part of a picture, px."""
    rows, columns = (np.arange(p.start, p.stop, dtype=np.float32) for p in part)
    return rows, columns


def radial_terms(shape: tuple[int, ...], places: Places | None = None) -> Float:
    """Return r^2, r^4, r^6, r = 1 at the corner, float32 (height, width, 3).

    shape: of the whole picture.  places: rows and columns wanted, px; every px if left out.

    Examples
    --------
    >>> radial_terms((3, 5))[0, 0], radial_terms((3, 5))[1, 2]
    (array([1., 1., 1.], dtype=float32), array([0., 0., 0.], dtype=float32))
    """
    rows, columns = places or places_in((slice(0, shape[0]), slice(0, shape[1])))
    middle = (shape[0] - 1) / 2, (shape[1] - 1) / 2
    corner = max(middle[0] ** 2 + middle[1] ** 2, 1e-6)
    r2 = (np.square(rows - middle[0])[:, None] + np.square(columns - middle[1])[None, :]) / corner
    return np.stack([r2, r2**2, r2**3], axis=-1).astype(np.float32)


def _window_mean(masked: Float, share: Float, width: float) -> Float:
    return gaussian(masked, width) / (gaussian(share, width)[..., None] + 1e-6)


def _smooth_log(masked: Float, share: Float, width: float) -> Float:
    """Return log2 of the mean light of usable pixels in a Gaussian window, (h, w, 3)."""
    mean = _window_mean(masked, share, width)
    return np.asarray(np.log2(np.maximum(mean, DARK)), np.float32)


def _trust(logs_b: Float, logs_f: Float, share: Float, width: float) -> Float:
    """Return the weight of each cell, (h, w, 3): usable, not dark, and locally smooth."""
    slopes = [np.hypot(*np.gradient(logs, axis=(0, 1))) * width for logs in (logs_b, logs_f)]
    contrast = np.maximum(*slopes)
    lit = np.minimum(logs_b, logs_f) > np.log2(DARK) + 1
    return np.asarray(share[..., None] * lit / (_SMOOTH_EV**2 + contrast**2), np.float32)
