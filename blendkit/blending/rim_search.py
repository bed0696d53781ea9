"""How the rims of the lens cut the boughs' discs, told by the plate that they leave.

Wide open a fast lens draws cat's eyes towards the corners.  Taken off as whole discs, a veil of
them leaves rims on either side of a bough, along the line to the picture's centre.  One aperture
drew all boughs, so all groups share one cut, and the discs are scaled with it: an even disc that
stands for a cut one was found too small.
"""

from collections.abc import Sequence
from dataclasses import replace
from typing import NamedTuple

import numpy as np

from blendkit.blending import BoughGroup
from blendkit.blending.plainness import Front, surely_plainer
from blendkit.filters.rim_cut import RimCut

_TRIED = (0.0, 0.2, 0.35, 0.5, 0.65)
_FIRST = 0.35
_SHARES = (0.88, 0.94, 1.0, 1.06, 1.12)
_WIDER = 0.4
"""A disc grows by this times the cut that is tried: found on simulated cuts of 0.3 to 0.6."""
_PLAINER, _SURE = 0.998, 1.0
"""What the total variation must fall to, and by how many deviations, for a cut to be believed:
of 18 pairs with even discs none is taken for cut, painted or not."""
_WORTH_A_SEARCH = 0.9985

_Trial = tuple[float, float]
"""A cut, and the share of the discs that go with it by `_WIDER`."""


class _Told(NamedTuple):
    """Which trial is the plainest, what it leaves of the first one's variation, and how surely."""

    best: int
    left: float
    sure: float


def with_rim(front: Front, groups: Sequence[BoughGroup]) -> list[BoughGroup]:
    """Return groups with the cut, and the discs that go with it, that leave the plainest plate.

    Parameters
    ----------
    front : Front
    groups : sequence of BoughGroup
        As of the reduced picture, with whole discs.

    Returns
    -------
    list of BoughGroup
        As they were where no cut leaves a clearly plainer plate.
    """

    def with_cut(trial: _Trial) -> list[BoughGroup]:
        cut, share = trial
        rim, wider = RimCut.over(front.matte.shape, cut), share * (1 + _WIDER * cut)
        return [replace(group, disc_px=wider * group.disc_px, rim=rim) for group in groups]

    def tried(trials: list[_Trial]) -> _Told:
        costs = front.variations(trials, with_cut)
        if costs is None:
            return _Told(0, 1.0, 0.0)
        summed = costs.sum(axis=1)
        best = int(np.argmin(summed))
        return _Told(best, float(summed[best] / summed[0]), surely_plainer(costs[best], costs[0]))

    if tried([(0.0, 1.0), (_FIRST, 1.0)]).left > _WORTH_A_SEARCH:
        return list(groups)
    cut = tried([(cut, 1.0) for cut in _TRIED]).best
    if not 0 < cut < len(_TRIED) - 1:
        # No cut too much for it: not the rim of a lens, but discs that are wrong otherwise.
        return list(groups)
    trials = [(0.0, 1.0), *((_TRIED[cut], share) for share in _SHARES)]
    told = tried(trials)
    if told.left > _PLAINER or told.sure < _SURE:
        return list(groups)
    return with_cut(trials[told.best])
