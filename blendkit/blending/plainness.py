"""How plain the plate is that a veil leaves: taken off as it was, it leaves no trace of itself.

With a wrong disc P = (W - (aF)*k) / (1 - a*k) keeps rings of the veil and holes beside them, which
add to its total variation (Rudin, Osher & Fatemi 1992, doi:10.1016/0167-2789(92)90242-F); with the
true one they are gone.  Nothing is asked of what lies behind.

The division also stretches what is behind, texture and grain, by 1/(1 - a*k), on the whole the less
the smaller the disc.  So the gradient of P counts times (1 - a*k), and by the background frame's
own light around, which no trial changes: what is behind then counts as much under any disc.  By the
gradient of the plate's tones alone discs of thick boughs came out a tenth to a seventh small.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import TypeVar

import cv2
import numpy as np

from blendkit.blending import BoughGroup, Veil
from blendkit.blending.veil import make_veil
from blendkit.filters.bands import gaussian
from blendkit.filters.resample import reduce_by
from blendkit.filters.threads import each_result
from blendkit.filters.tiles import whole
from blendkit.frame import Bool, Float

_FAINT, _DENSE = 0.02, 0.7
"""Coverage of the veil between which a plate is measured."""
_CLEAR, _LEAST_PIXELS = 0.02, 1000
_LEAST_LEFT = 0.3
_CELLS = 12
"""Cells along the long side over which variation is summed apart."""
_SMOOTH_PX, _AROUND_PX = 1.5, 5.0
_DARK = 0.002

_Trial = TypeVar("_Trial")


@dataclass(frozen=True, eq=False, slots=True)
class Front:
    """A background frame and what stands in front, reduced to some 600 px.

    background, color: float32 (height, width, 3), linear; matte: float32 (height, width).
    sure: bool (height, width), where the background frame can tell of a veil.
    """

    background: Float
    matte: Float
    color: Float
    sure: Bool

    def variations(
        self, trials: Sequence[_Trial], groups_at: Callable[[_Trial], Sequence[BoughGroup]]
    ) -> Float | None:
        """Return the total variation of the plate under each trial.

        Parameters
        ----------
        trials : sequence
        groups_at : callable
            Gives the boughs of a trial.

        Returns
        -------
        ndarray
            float32 (trials, cells), means over cells of the picture, all of the same place; None
            where that is too small to tell.
        """
        veils = each_result(
            lambda trial: make_veil(self.matte, self.color, groups_at(trial)), trials
        )
        where = self._measurable(veils)
        if np.count_nonzero(where) < _LEAST_PIXELS:
            return None
        return np.stack(each_result(lambda veil: _variation(self.background, veil, where), veils))

    def _measurable(self, veils: Sequence[Veil]) -> Bool:
        """Return where every veil tried leaves a plate to measure, bool (height, width)."""
        densest = np.maximum.reduce([veil.coverage for veil in veils])
        told = (densest > _FAINT) & (densest < _DENSE)
        return np.asarray(told & (self.matte < _CLEAR) & self.sure, np.bool_)


def surely_plainer(trial: Float, than: Float) -> float:
    """Return by how many deviations one trial is the plainer one, from how far cells agree.

    trial, than: variation in each cell, float32 (cells,).

    >>> surely_plainer(np.float32([1, 2, 3, 4]), np.float32([2, 3, 4, 5]))
    2.0
    >>> surely_plainer(np.float32([1, 2, 3, 4]), np.float32([2, 1, 4, 3]))
    0.0
    """
    gained = than - trial
    return float(gained.sum() / np.sqrt(np.square(gained).sum() + 1e-20))


def _variation(background: Float, veil: Veil, where: Bool) -> Float:
    """Return the total variation of the divided plate in cells of the picture, by local light."""
    coverage, light = veil.at(whole(background.shape))
    left = np.maximum(1 - coverage, _LEAST_LEFT)
    divided = gaussian(np.asarray((background - light) / left[..., None], np.float32), _SMOOTH_PX)
    around = np.sqrt(gaussian(background, _AROUND_PX) + np.float32(_DARK))
    total = np.zeros_like(left)
    for channel, local in zip(cv2.split(divided), cv2.split(around), strict=True):
        across = cv2.Sobel(channel, cv2.CV_32F, 1, 0)
        down = cv2.Sobel(channel, cv2.CV_32F, 0, 1)
        total += cv2.magnitude(across, down) / local
    total *= left * where
    return reduce_by(total, max(max(where.shape) // _CELLS, 1)).ravel()
