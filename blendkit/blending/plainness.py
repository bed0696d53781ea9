"""How plain the plate is that a veil leaves: taken off as it was, it leaves no trace of itself.

With a wrong disc P = (W - (aF)*k) / (1 - a*k) keeps rings of the veil and holes beside them, which
add to its total variation (Rudin, Osher & Fatemi 1992, doi:10.1016/0167-2789(92)90242-F); with the
true one they are gone.  Nothing is asked of what lies behind.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import TypeVar

import cv2
import numpy as np

from blendkit.blending import BoughGroup, Veil
from blendkit.blending.veil import make_veil
from blendkit.filters.bands import gaussian
from blendkit.filters.threads import each_result
from blendkit.filters.tiles import whole
from blendkit.frame import Bool, Float

_FAINT, _DENSE = 0.02, 0.7
"""Coverage of the veil between which a plate is measured."""
_CLEAR, _LEAST_PIXELS = 0.02, 1000
_LEAST_LEFT = 0.3
_SMOOTH_PX = 1.5
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
    ) -> list[float] | None:
        """Return the mean total variation of the plate under each trial.

        Parameters
        ----------
        trials : sequence
        groups_at : callable
            Gives the boughs of a trial.

        Returns
        -------
        list of float
            All over the same place; None where that is too small to tell.
        """
        veils = each_result(
            lambda trial: make_veil(self.matte, self.color, groups_at(trial)), trials
        )
        where = self._measurable(veils)
        if np.count_nonzero(where) < _LEAST_PIXELS:
            return None
        return each_result(lambda veil: _variation(self.background, veil, where), veils)

    def _measurable(self, veils: Sequence[Veil]) -> Bool:
        """Return where every veil tried leaves a plate to measure, bool (height, width)."""
        densest = np.maximum.reduce([veil.coverage for veil in veils])
        told = (densest > _FAINT) & (densest < _DENSE)
        return np.asarray(told & (self.matte < _CLEAR) & self.sure, np.bool_)


def _variation(background: Float, veil: Veil, where: Bool) -> float:
    """Return the mean total variation of the divided plate's even tones."""
    coverage, light = veil.at(whole(background.shape))
    left = np.maximum(1 - coverage, _LEAST_LEFT)[..., None]
    tones = np.sqrt(np.maximum((background - light) / left, 0) + np.float32(_DARK))
    total = 0.0
    for channel in cv2.split(gaussian(np.asarray(tones, np.float32), _SMOOTH_PX)):
        across = cv2.Sobel(channel, cv2.CV_32F, 1, 0)
        down = cv2.Sobel(channel, cv2.CV_32F, 0, 1)
        total += float(np.hypot(across, down)[where].mean())
    return total
