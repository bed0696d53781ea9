"""The discs that the background has along the boughs, and the boughs' own where those outvote them.

The boughs' disc is sought as the one that explains the background frame.  Where nobody painted
anything, most of what was proposed may stand behind; the disc found is then the background's own,
and by that nothing can be told apart.  But each place may also be what lies behind: sought so, what
is behind has no vote.
"""

from itertools import product

import numpy as np

from blendkit.blending import BoughGroup
from blendkit.blending.discs import (
    DiscEvidence,
    band_square,
    disc_steps,
    forward_model,
    residual_map,
)
from blendkit.filters.bands import gaussian
from blendkit.filters.resample import reduce_by
from blendkit.frame import Float
from blendkit.settings import DiscSettings

_CHOICE_PX = 12.0
"""Window over which one of the discs is chosen, px at the evidence's scale."""
_THERE, _ALONG = 0.1, (0.15, 0.5, 0.85)
"""Matte from which the background's disc is read along the boughs, and quantiles of it."""
_ALIKE = 1.25
"""Ratio up to which a disc may be the background's."""
_EITHER_PX, _OUTLIER = 6.0, 4.0
"""Window over which a place is taken for bough or for ground, px at the evidence's scale, and the
multiple of the mean square residual at which a residual is cut off."""


def as_far_off(
    evidence: DiscEvidence, softness: Float, groups: tuple[BoughGroup, ...]
) -> tuple[Float, Float]:
    """Return a model in which the boughs stand where their background is, and its residual.

    The background's disc is measured to some 10 % and varies, the boughs' disc and displacement are
    fitted: to be fair, each place may choose among the discs that the background has along the
    boughs, in its place or displaced like them.  Else a far hedge is taken for boughs whose disc
    happens to be the hedge's.

    Parameters
    ----------
    evidence : DiscEvidence
    softness : ndarray
        Disc of the background, px, float32 (height, width).
    groups : tuple of BoughGroup
        Their shifts, full px.

    Returns
    -------
    model, residual : ndarray
        Float32 (h, w, 3), linear light, and (h, w), `discs.residual_map`'s, evidence's scale.
    """
    factor = evidence.factor
    shifts = {(0.0, 0.0)} | {(x / factor, y / factor) for x, y in (g.shift_px for g in groups)}
    best, residual = evidence.rerendered, np.zeros_like(evidence.weight)
    cost = np.full(evidence.weight.shape, np.inf, np.float32)
    for trial, shift in product(_discs_along(evidence, softness), sorted(shifts)):
        model = forward_model(evidence, float(trial), shift)
        left = residual_map(evidence, float(trial), shift)
        around = gaussian(left * evidence.weight, _CHOICE_PX)
        better = around < cost
        best = np.where(better[..., None], model, best)
        residual, cost = np.where(better, left, residual), np.minimum(around, cost)
    return np.asarray(best, np.float32), np.asarray(residual, np.float32)


def told_from_ground(
    evidence: DiscEvidence,
    groups: tuple[BoughGroup, ...],
    softness: Float,
    settings: DiscSettings,
) -> tuple[BoughGroup, ...]:
    """Return the groups whose disc is not the background's, or one in their stead if none is left.

    Parameters
    ----------
    evidence : DiscEvidence
        Of a matte that may hold much of what lies behind.
    groups : tuple of BoughGroup
        As found with that matte.
    softness : ndarray
        Disc of the background, px, float32 (height, width).
    settings : DiscSettings

    Returns
    -------
    tuple of BoughGroup
        As they are where nothing but the background's disc explains anything.
    """
    ground_px = _discs_along(evidence, softness) * evidence.factor
    apart = tuple(group for group in groups if not _among(group.disc_px, ground_px))
    if apart or not groups:
        return apart
    far, _ = as_far_off(evidence, softness, ())
    behind = band_square(evidence, evidence.soft - far)
    cap = _OUTLIER * float((behind * evidence.weight).sum() / evidence.weight.sum()) + 1e-12

    def around(square: Float) -> Float:
        return gaussian(np.minimum(square, cap) * evidence.weight, _EITHER_PX)

    ground = around(behind)

    def cost(disc: float) -> float:
        bough = band_square(evidence, evidence.soft - forward_model(evidence, disc, (0.0, 0.0)))
        return float(np.minimum(ground, around(bough)).sum())

    disc_px = min(disc_steps(evidence, settings), key=cost) * evidence.factor
    return groups if _among(disc_px, ground_px) else (BoughGroup(groups[0].share, disc_px, (0, 0)),)


def _discs_along(evidence: DiscEvidence, softness: Float) -> Float:
    """Return quantiles of the background's disc along the boughs, px at the evidence's scale."""
    disc = reduce_by(softness, evidence.factor) / np.float32(evidence.factor)
    along = disc[(evidence.foreground[..., 3] > _THERE) & (disc > 0)]
    return np.asarray(np.quantile(along if along.size else disc, _ALONG), np.float32)


def _among(disc_px: float, ground_px: Float) -> bool:
    return bool(ground_px[0] / _ALIKE < disc_px < _ALIKE * ground_px[-1])
