"""Groups of boughs with a disc and a displacement each."""

import numpy as np

from blendkit.blending import BoughGroup
from blendkit.blending.discs import (
    DiscEvidence,
    DiscFit,
    disc_steps,
    fit_disc,
    residual_map,
)
from blendkit.filters.bands import slow_gaussian
from blendkit.filters.resample import enlarge
from blendkit.filters.threads import each_result
from blendkit.frame import Float
from blendkit.settings import DiscSettings

_LEAST_COVERAGE = 1e-4
_LEAST_PART = 0.12


def find_groups(
    evidence: DiscEvidence, size: tuple[int, int], settings: DiscSettings
) -> tuple[BoughGroup, ...]:
    """Find the blur of the foreground in the background frame.

    Parameters
    ----------
    evidence : DiscEvidence
    size : (int, int)
        Width and height of the full picture, px.
    settings : DiscSettings

    Returns
    -------
    tuple of BoughGroup
        Empty where there is no foreground.
    """
    if float(evidence.foreground[..., 3].mean()) < _LEAST_COVERAGE:
        return ()
    whole = np.broadcast_to(np.float32(1), size[::-1])
    if settings.disc_px is not None:
        return (BoughGroup(whole, settings.disc_px, (0.0, 0.0)),)
    return _split(evidence, fit_disc(evidence, settings), whole, settings)


def _split(
    evidence: DiscEvidence, fit: DiscFit, whole: Float, settings: DiscSettings
) -> tuple[BoughGroup, ...]:
    """Give boughs at two distances a disc each, where the evidence asks for it.

    Each place votes with the residual around it under every disc.  Two discs must explain the
    background frame clearly better than one, and each must own a fair part of the boughs.
    """
    single = (BoughGroup(whole, fit.disc_px, fit.shift_px),)
    steps = disc_steps(evidence, settings)
    small_shift = (fit.shift_px[0] / evidence.factor, fit.shift_px[1] / evidence.factor)
    reach = max(evidence.weight.shape) / 16

    def around(disc: float) -> Float:
        residuals = residual_map(evidence, disc, small_shift)
        return slow_gaussian(residuals * evidence.weight, reach)

    costs = np.stack(each_result(around, steps))
    owners = evidence.foreground[..., 3]
    near, far, gain = _best_two(costs, owners)
    if gain < settings.split_gain or abs(near - far) < 3:
        return single
    lean = costs[far] - costs[near]
    share = 1 / (1 + np.exp(-np.clip(4 * lean / (np.abs(lean).mean() + 1e-12), -30, 30)))
    part = float((share * owners).sum() / owners.sum())
    if not _LEAST_PART < part < 1 - _LEAST_PART:
        return single
    full = np.clip(enlarge(share.astype(np.float32), evidence.factor, whole.shape[::-1]), 0, 1)
    return (
        BoughGroup(full, steps[near] * evidence.factor, fit.shift_px),
        BoughGroup(1 - full, steps[far] * evidence.factor, fit.shift_px),
    )


def _best_two(costs: Float, owners: Float) -> tuple[int, int, float]:
    """Return the two discs (index) that explain most, and their gain over the best single one."""
    flat = costs.reshape(len(costs), -1) * owners.reshape(1, -1)
    single = float(flat.sum(axis=1).min())
    best = (0, 0, 0.0)
    for i in range(len(flat)):
        for j in range(i + 1, len(flat)):
            gain = 1 - float(np.minimum(flat[i], flat[j]).sum()) / (single + 1e-20)
            if gain > best[2]:
                best = (j, i, gain)
    return best
