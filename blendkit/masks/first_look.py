"""The first look: which scale shows most of the foreground, and which weights know it so.

Two frames with one focus leave the foreground soft in its own frame: of a disc of 100 px at f/2.8,
17 px at f/16.  The weights for sharp foreground then find scraps, or nothing at all.  Those trained
on such pairs find it at a scale at which its disc is some 4 to 8 px; finer there is nothing to see,
and the matte, enlarged, is as soft as the bough.

How soft it is, the picture's own edges tell, where the coarser scale saw something.

A foreground frame that is focused on the boughs spreads everything else, and weights that know such
pairs take what is sharp in it for foreground more boldly.  In a pair with one focus they would take
trunks far behind as well.  Of such a frame nobody asks how soft the boughs are: stalks and leaves
out of focus behind them have edges too, and were taken for theirs.
"""

from dataclasses import dataclass

import numpy as np

from blendkit.filters.bands import gaussian
from blendkit.filters.resample import enlarge, reduce_by
from blendkit.frame import Float
from blendkit.masks.edges import edge_disc_px
from blendkit.masks.network import REFOCUSED, SHARP, SOFT, ever_finer, network_matte

_SOFT_PX, _GROWS = 4.0, 1.2
_MAYBE_SOFT_PX, _GREW = 2.9, 1.45
"""Disc, as `edge_disc_px` reads it, above which a scale is too fine for sharp foreground, and by
how much it must grow at the next; for full size, which has no next, what may do if it grew by as
much.  True discs of 0 to 2 px read as up to 2.8 on the 36 named pairs; on pairs drawn otherwise, of
1 to 4 px as 1.2 to 4.1, of 6 to 20 px as 3.0 to 10."""
_SURELY_SHARP_PX, _SOFT_IF_DOUBTFUL_PX = 2.4, 3.0
"""Reading below which nobody else is asked, and the reading with the other weights that settles it.
With nothing painted, true discs of 0.5 to 2 px read as up to 1.9 at half size, 9 px as 3.0 to 3.5
where little was seen; the other weights' matte read that as 3.2 to 4.7."""
_GROWS_IF_DOUBTFUL = 1.35
"""What it must grow by in that second reading.  Soft boughs of 6 to 16 px, 29 pairs, grow by 1.46
and more; leaves of the colour of the brick behind, sharp but misplaced by the matte, by 1.25."""
_SEEN, _SEEN_BLUR_PX = 0.25, 1.0


@dataclass(frozen=True, eq=False, slots=True)
class Proposed:
    """A matte at the finest scale that shows more of it.

    factor: the reduction.  matte: float32, of the picture reduced by it, 0 outside the hint.
    weights: SHARP, REFOCUSED or SOFT, by which it was found.  sharp_factor: the reduction at which
    the foreground is sharp in its own frame.  own_disc_px: its disc there as that was read, px of
    the full frame; None where it is sharp.
    """

    factor: int
    matte: Float
    weights: str
    sharp_factor: int
    own_disc_px: float | None = None


def first_look(
    background: Float,
    foreground: Float,
    hint: Float,
    grain: float,
    *,
    refocused: bool = False,
    painted: bool = False,
) -> Proposed:
    """Propose a matte at the finest scale that shows more of it, by the weights made for it.

    refocused: whether the foreground frame was focused on the foreground.  painted: whether
    somebody painted the hint; there more looks are worth their time.  Other parameters as for
    `network.network_matte`.
    """
    looked = background, foreground, hint, grain
    if refocused:
        matte = network_matte(*looked, weights=REFOCUSED, turned=painted, painted=painted)
        return Proposed(1, matte, REFOCUSED, 1)
    softly = ever_finer(*looked, SOFT, turned=painted, painted=painted)
    for factor, matte in ever_finer(*looked, SHARP, turned=painted, painted=painted):
        if factor == 1:
            break
        finer = factor // 2
        read = _reading(finer, foreground, matte)
        soft = read.soft(_SOFT_PX)
        if not soft and read.doubtful:
            other = next(m for f, m in softly if f == factor)
            read = _reading(finer, foreground, other)
            soft = read.soft(_SOFT_IF_DOUBTFUL_PX, _GROWS_IF_DOUBTFUL)
        if soft:
            found = next(m for f, m in softly if f == finer)
            return Proposed(finer, found, SOFT, factor, finer * read.disc_px)
    return Proposed(1, matte, SHARP, 1)


@dataclass(frozen=True, slots=True)
class _Reading:
    """The foreground's disc in its own frame at some scale, px there, and how it grows by scales.

    A disc grows with the picture, what a coarse matte misplaces hardly does.  grows: to the next
    finer scale.  grew: from the coarser one, at full size, which has no next.
    """

    disc_px: float
    grows: float | None = None
    grew: float = 0.0

    @property
    def doubtful(self) -> bool:
        """Return whether it is worth a look with the other weights, which at full size is dear."""
        if self.grows is None:
            return self.disc_px > _MAYBE_SOFT_PX
        return not 0 < self.disc_px < _SURELY_SHARP_PX

    def soft(self, least_px: float, least_grows: float = _GROWS) -> bool:
        """Return whether the foreground is not sharp at that scale.

        Full size, which has no next scale to grow to, has limits of its own.
        """
        if self.grows is not None:
            return self.disc_px > least_px and self.grows > least_grows
        maybe = self.disc_px > _MAYBE_SOFT_PX and self.grew > _GREW
        return maybe or self.disc_px >= _SOFT_PX


def _reading(factor: int, foreground: Float, coarser: Float) -> _Reading:
    """Read the disc off a scale not looked at yet; coarser: a matte of half that size."""
    other = factor // 2 if factor > 1 else 2
    here, there = (_own_disc_px(f, foreground, coarser, 2 * factor) for f in (factor, other))
    if factor > 1:
        return _Reading(here, grows=there / max(here, 1e-6))
    return _Reading(here, grew=here / max(there, 1e-6))


def _own_disc_px(factor: int, foreground: Float, coarser: Float, reduced_by: int) -> float:
    """Return the foreground's disc in its own frame reduced by a factor, px there; 0 if unknown.

    coarser: a matte of the frame reduced by more.  Where nothing was painted it is seldom sure, so
    what is seen at all is taken for covered.
    """
    sharp = reduce_by(foreground, factor)
    size = (sharp.shape[1], sharp.shape[0])
    seen = enlarge(coarser, reduced_by // factor, size) > _SEEN
    return edge_disc_px(sharp, gaussian(seen.astype(np.float32), _SEEN_BLUR_PX)) or 0.0
