"""Asks the background frame whether a proposed foreground really stands in front.

What stands in front has left a veil there; a background trunk that was taken for foreground is
there as a trunk, as soft as the rest of the background.  Two models are held against each other:
the thing under the boughs' disc, and the same thing under the background's, over the same guess of
what is behind.  The guess is poor where twigs are dense, and both share that fault; a model without
any guess, everything re-rendered from the foreground frame, would win there against every veil.
Besides, each place says which disc it would choose by itself.  What this testimony is worth is
weighed by `masks.second_look`, whose chance decides what is kept.
"""

from dataclasses import dataclass

import cv2
import numpy as np

from blendkit.blending import BoughGroup
from blendkit.blending.discs import DiscEvidence, band_square, forward_model, residual_map
from blendkit.blending.ground_discs import as_far_off
from blendkit.blending.own_discs import own_disc
from blendkit.blending.veil import shifted
from blendkit.filters.bands import gaussian
from blendkit.filters.channels import channel_mean
from blendkit.filters.disc import disc_blur
from blendkit.filters.pieces import pieces, share_of_pieces, strips
from blendkit.filters.resample import reduce_by
from blendkit.filters.threads import each_part
from blendkit.frame import Float
from blendkit.memory import unwritten
from blendkit.settings import DiscSettings

_LOOKS = 4
"""Independent looks at the residual that one window gives, about."""
_LEAST_PX = 1.0
"""Disc of a sharp background, px at the evidence's scale: smaller ones are not told apart."""
_LIKELY, _LIKELY_MARKED = (0.3, 0.8), (0.15, 0.5)
"""Chance up to which a place is dropped and from which it is kept whole; and the same for a piece
that a stroke touches, where nothing else says where the boughs are.  Chosen on the 36 pairs of
DEVELOPERS.md's table and on training scenes kept aside, for which they are close to the best;
between 0.2 and 0.4, 0.7 and 0.9 little changes."""
_MARKED = 0.5


@dataclass(frozen=True, eq=False, slots=True)
class VeilTestimony:
    """What the background frame says of each place, float32 (height, width), evidence's scale.

    speaks: -1 where it looks as if the foreground stood as far off as the background, 1 where it
    has left the boughs' veil.  heard: 0 to 1, how far that can be told at all.
    coverage: of the veil, a*k.  ratio: the background's disc over the boughs', at most 2.
    near_left, far_left: what the two models leave of the background frame, mean of the channels,
    signed, relative to the light around.
    own_disc: which disc the place would choose by itself, in doublings of the background's, -2 to
    2; lead: -1 to 1, by how much that suits better than the background's.
    """

    speaks: Float
    heard: Float
    coverage: Float
    ratio: Float
    near_left: Float
    far_left: Float
    own_disc: Float
    lead: Float

    @property
    def parts(self) -> tuple[Float, ...]:
        """All of it, in the order above."""
        of_groups = (self.speaks, self.heard, self.coverage, self.ratio)
        return (*of_groups, self.near_left, self.far_left, self.own_disc, self.lead)


def veil_testimony(
    evidence: DiscEvidence,
    groups: tuple[BoughGroup, ...],
    softness: Float,
    settings: DiscSettings,
) -> VeilTestimony:
    """Ask the background frame how far the veil around each place is borne out.

    Parameters
    ----------
    evidence : DiscEvidence
    groups : tuple of BoughGroup
        Their discs and shifts, full px, one at least; each place is judged by the group that suits
        it best.
    softness : ndarray
        Disc of the background, px, float32 (height, width).
    settings : DiscSettings
        Which discs can be.
    """
    far, unlike_far = as_far_off(evidence, softness, groups)
    ground_px = np.maximum(reduce_by(softness, evidence.factor), 0)
    moves = [(x / evidence.factor, y / evidence.factor) for x, y in (g.shift_px for g in groups)]
    own, lead = own_disc(evidence, unlike_far, moves, settings)
    doublings = np.log2(own / np.maximum(ground_px / evidence.factor, _LEAST_PX))
    best, most = np.zeros((6, *evidence.weight.shape)), np.full(evidence.weight.shape, -np.inf)
    for group, shift in zip(groups, moves, strict=True):
        disc = group.disc_px / evidence.factor
        near = forward_model(evidence, disc, shift)
        unlike_near = residual_map(evidence, disc, shift)
        speaks, heard = _lean(evidence, unlike_far, unlike_near, near - far, max(disc / 3, 3.0))
        coverage = shifted(_blurred(evidence.foreground[..., 3], disc), shift)
        ratio = np.minimum(ground_px / np.float32(group.disc_px), 2)
        left = (_left(evidence, model) for model in (near, far))
        said = np.stack([speaks, heard, coverage, ratio, *left])
        better = speaks * heard > most
        best, most = np.where(better, said, best), np.where(better, speaks * heard, most)
    parts = np.stack([*best, np.clip(doublings, -2, 2), lead])
    return VeilTestimony(*np.asarray(parts, np.float32))


def _left(evidence: DiscEvidence, model: Float) -> Float:
    return channel_mean((evidence.soft - model) / evidence.local_light)


def _blurred(matte: Float, disc: float) -> Float:
    """Return a matte blurred by a disc, its rim repeated as `veil.make_veil`."""
    return disc_blur(matte, disc, border=cv2.BORDER_REPLICATE)


def _lean(
    evidence: DiscEvidence, far: Float, near: Float, apart: Float, reach: float
) -> tuple[Float, Float]:
    """Return -1 where all speaks for background, 1 for foreground; and how far it can be heard.

    far, near: squared residuals of both models; apart: how far the models lie apart.  With D that
    distance, the difference of the squares is D^2 on average if the veil is there and -D^2 if not;
    a D that drowns in what neither model explains says nothing.
    """
    weight = evidence.weight
    distance = gaussian(band_square(evidence, apart) * weight, reach) + np.float32(1e-9)
    speaks = gaussian((far - near) * weight, reach) / distance
    unexplained = gaussian(np.minimum(far, near) * weight, reach)
    heard = distance / (distance + unexplained / _LOOKS)
    return np.clip(speaks, -1, 1), np.asarray(heard, np.float32)


def keep_likely(
    alpha: Float,
    chance: Float,
    factor: int,
    *,
    marked: Float | None = None,
    masked: bool = False,
) -> Float:
    """Return the matte without what hardly stands in front.

    Each connected piece is judged by the places it covers; a long bough is kept where most of it is
    likely, and cut where a stretch of it is not.

    Parameters
    ----------
    alpha : ndarray
        float32 (height, width).
    chance : ndarray
        How likely each place stands in front, 0 to 1, float32, reduced by `factor`.
    marked : ndarray, optional
        Foreground strokes, float32 (height, width): what they cover is kept, and the pieces that
        they touch need less of a chance.
    masked : bool
        Whether a mask was painted as well.  The boughs in it hang together with what they cross
        behind, so there a stroke speaks for what it covers only: else six pairs lost 0.1 to 2.8 dB.

    Returns
    -------
    ndarray
        float32 (height, width).
    """
    count, labels = pieces(alpha)
    local, whole = share_of_pieces(alpha, labels, count, chance, factor)
    low, high = (np.full(count, end, np.float32) for end in _LIKELY)
    if marked is not None:
        touched = np.unique(labels[(marked > _MARKED) & (labels > 0)])
        low[touched], high[touched] = _LIKELY if masked else _LIKELY_MARKED
    kept = unwritten(alpha.shape)

    def keep_in(rows: slice) -> None:
        piece = labels[rows]
        likely = 0.5 * whole[piece] + 0.5 * local[rows]
        keep = np.clip((likely - low[piece]) / (high[piece] - low[piece]), 0, 1)
        if marked is not None:
            keep[marked[rows] > _MARKED] = 1
        np.multiply(alpha[rows], keep, out=kept[rows], where=alpha[rows] > 0)

    each_part(keep_in, strips(alpha))
    return kept
