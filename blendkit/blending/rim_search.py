"""How the rims of the lens cut the boughs' discs, told by the plate that they leave.

Wide open a fast lens draws cat's eyes towards the corners.  Taken off as whole discs, a veil of
them leaves rims on either side of a bough, along the line to the picture's centre.  One aperture
drew all boughs, so all groups share one cut, and the discs are scaled with it: an even disc that
stands for a cut one was found too small.
"""

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from blendkit.blending import BoughGroup
from blendkit.blending.plainness import Front
from blendkit.filters.rim_cut import RimCut

_TRIED = (0.0, 0.2, 0.35, 0.5, 0.65)
_SHARES = (0.94, 1.0, 1.06)
_WIDER = 0.4
"""A disc grows by this times the cut that is tried: found on simulated cuts of 0.3 to 0.6."""
_PLAINER, _LIKE_WHOLE = 0.997, 0.999
"""What the total variation must fall to for a cut to be believed, and the middle one for the others
to be tried.  In 14 pairs even discs gained 0.0012 at most where a mask was painted; where none was,
0.0028 in one whose discs were found a quarter too large."""


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

    def with_cut(trial: tuple[float, float]) -> list[BoughGroup]:
        cut, share = trial
        rim, wider = RimCut.over(front.matte.shape, cut), share * (1 + _WIDER * cut)
        return [replace(group, disc_px=wider * group.disc_px, rim=rim) for group in groups]

    middle = _TRIED[len(_TRIED) // 2]
    first = front.variations([(0.0, 1.0), (middle, 1.0)], with_cut)
    if first is None or first[1] > _LIKE_WHOLE * first[0]:
        return list(groups)
    trials = [(cut, share) for cut in _TRIED for share in _SHARES]
    costs = front.variations(trials, with_cut)
    if costs is None:
        return list(groups)
    of_cuts = np.reshape(costs, (len(_TRIED), len(_SHARES))).min(axis=1)
    best = int(np.argmin(of_cuts))
    # No cut too much for it: not the rim of a lens, but discs that are wrong otherwise.
    endless = best == len(_TRIED) - 1
    if endless or of_cuts[best] > _PLAINER * of_cuts[0]:
        return list(groups)
    return with_cut(trials[int(np.argmin(costs))])
