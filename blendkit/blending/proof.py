"""Asks the background frame whether a proposed foreground really stands in front.

What stands in front has left a veil there; a background trunk that was taken for foreground is
there as a trunk, as soft as the rest of the background.  Around each place the model with the veil
must explain the background frame better than the model in which everything is background.
"""

from dataclasses import replace

import cv2
import numpy as np

from blendkit.blending import BoughGroup
from blendkit.blending.discs import DiscEvidence, residual_map
from blendkit.blending.rerender import rerender
from blendkit.filters.bands import gaussian
from blendkit.filters.resample import reduce_by
from blendkit.frame import Float

_DOUBT, _PROOF = 0.0, 0.06


def proven_share(
    evidence: DiscEvidence,
    groups: tuple[BoughGroup, ...],
    aligned: Float,
    softness: Float,
) -> Float:
    """Return how far the veil around each place is borne out, 0 to 1.

    Parameters
    ----------
    evidence : DiscEvidence
    groups : tuple of BoughGroup
        Their discs and shifts, full px; each place is judged by the group that suits it best.
    aligned : ndarray
        Foreground frame, float32 (height, width, 3), linear.
    softness : ndarray
        Disc of the background, px, float32 (height, width).

    Returns
    -------
    ndarray
        float32 (height, width) at the evidence's scale; 0.5 where the pair cannot tell.
    """
    best = np.full(evidence.weight.shape, -1.0, np.float32)
    bare = residual_map(_all_background(evidence, aligned, softness), None, (0.0, 0.0))
    for group in groups:
        disc = group.disc_px / evidence.factor
        shift = (group.shift_px[0] / evidence.factor, group.shift_px[1] / evidence.factor)
        veiled = residual_map(evidence, disc, shift)
        reach = max(disc / 3, 3.0)
        weight = evidence.weight
        less = gaussian((bare - veiled) * weight, reach)
        total = gaussian((bare + veiled) * weight, reach) + 1e-9
        best = np.maximum(best, less / total)
    return np.asarray(np.clip((best - _DOUBT) / (_PROOF - _DOUBT), 0, 1), np.float32)


def _all_background(evidence: DiscEvidence, aligned: Float, softness: Float) -> DiscEvidence:
    """Return the evidence as if nothing stood in front."""
    factor = evidence.factor
    small = reduce_by(aligned, factor)
    everything = np.ones(small.shape[:2], np.float32)
    disc = np.asarray(reduce_by(softness, factor) / factor, np.float32)
    rendered, _ = rerender(small, everything, disc)
    return replace(evidence, rerendered=rendered)


def keep_proven(alpha: Float, share: Float) -> Float:
    """Return the matte without what was not borne out.

    alpha: float32 (height, width); share: from `proven_share`, any scale.  Each connected piece is
    judged by the places it covers; a long bough is kept where most of it is borne out, and cut
    where a stretch of it is not.
    """
    size = (alpha.shape[1], alpha.shape[0])
    local = cv2.resize(share, size, interpolation=cv2.INTER_LINEAR)
    count, labels = cv2.connectedComponents((alpha > 0.05).astype(np.uint8))
    mass = np.bincount(labels.ravel(), alpha.ravel(), count)
    good = np.bincount(labels.ravel(), (alpha * local).ravel(), count)
    whole = (good / np.maximum(mass, 1e-6))[labels]
    keep = np.clip((0.5 * whole + 0.5 * local - 0.25) / 0.25, 0, 1)
    return np.asarray(alpha * keep, np.float32)
