"""The disc that suits each place best by itself, whatever discs the boughs have as a whole.

Boughs at a third distance, and all boughs where those found first are something else's, have
nobody to speak for them: held against discs that are not theirs they look like background.  Here
each place chooses among all discs, as if it stood alone.  One choice is worth little; a bough whose
whole length chooses a disc that its background does not have stands in front.
"""

from collections.abc import Iterable
from itertools import product

import numpy as np

from blendkit.blending.discs import STILL_PX, DiscEvidence, disc_steps, residual_map
from blendkit.filters.bands import gaussian
from blendkit.frame import Float
from blendkit.settings import DiscSettings

_WINDOW_PX = 6.0
"""Window over which a place chooses, px at the evidence's scale."""
_EVERY = 2
"""Every second of the search's discs is tried, in steps of 30 %."""


def own_disc(
    evidence: DiscEvidence,
    behind: Float,
    shifts_px: Iterable[tuple[float, float]],
    settings: DiscSettings,
) -> tuple[Float, Float]:
    """Return the disc that each place would choose, and by how much it suits better than ground.

    Parameters
    ----------
    evidence : DiscEvidence
    behind : ndarray
        `discs.residual_map`, (h, w), with each place as far off as its background.
    shifts_px : iterable of tuple
        Displacements (x, y) that boughs have, px of the evidence; in place is tried too.
    settings : DiscSettings

    Returns
    -------
    disc_px, lead : ndarray
        Float32 (h, w): px of the evidence; -1 to 1, 0 where both suit alike.
    """
    moved = {shift for shift in shifts_px if np.hypot(*shift) > STILL_PX}
    disc = np.zeros_like(evidence.weight)
    least = np.full(evidence.weight.shape, np.inf, np.float32)
    for trial, shift in product(disc_steps(evidence, settings)[::_EVERY], [(0.0, 0.0), *moved]):
        left = gaussian(residual_map(evidence, trial, shift) * evidence.weight, _WINDOW_PX)
        better = left < least
        disc, least = np.where(better, np.float32(trial), disc), np.minimum(left, least)
    ground = gaussian(behind * evidence.weight, _WINDOW_PX)
    lead = (ground - least) / (ground + least + 1e-9)
    return disc.astype(np.float32), np.asarray(lead, np.float32)
