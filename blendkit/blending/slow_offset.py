"""The slow difference of two pictures, noted tile by tile at reduced size.

Its wide Gaussian is exact enough there.
"""

from collections.abc import Iterator
from math import lcm

import numpy as np

from blendkit.filters.bands import gaussian, narrowed_sigma_px, slow_factor
from blendkit.filters.resample import enlarged_part, put_reduced
from blendkit.filters.tiles import Window, tile_side, tiles
from blendkit.frame import Float

_TILE = 384
_DOUBT = 0.05


class SlowOffset:
    """A weighted mean difference over surroundings of sigma_px; nought where nothing was noted.

    factor: by which it is reduced.
    """

    def __init__(self, shape: tuple[int, ...], sigma_px: float) -> None:
        self._shape, self._sigma_px = shape, sigma_px
        self.factor = slow_factor(self._sigma_px, min(shape))
        small = [-(-n // self.factor) for n in shape]
        self._sums = np.zeros((*small, 4), np.float32)

    def tiles(self, also: int = 1) -> Iterator[Window]:
        """Yield tiles whose corners lie on whole cells of this reduction, and of another one."""
        side = tile_side(_TILE, lcm(self.factor, also))
        return (own for own, _ in tiles(self._shape, side, 0))

    def note(self, part: Window, difference: Float, weight: Float) -> None:
        """Note the difference of a tile, (height, width, 3), and how far to trust it."""
        weighed = weight[..., None]
        put_reduced(self._sums, np.dstack([difference * weighed, weighed]), part, self.factor)

    def settle(self) -> None:
        """Blur what was noted."""
        wide = gaussian(self._sums, narrowed_sigma_px(self._sigma_px, self.factor))
        self._sums = np.asarray(wide[..., :3] / (wide[..., 3:] + _DOUBT), np.float32)

    def at(self, part: Window) -> Float:
        """Return the offset of a tile, float32 (height, width, 3)."""
        return enlarged_part(self._sums, self.factor, part)
