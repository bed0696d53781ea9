"""Whether the foreground frame was focused on the boughs, by how blur differs from place to place.

What is in focus in both frames is held alike: with one focus a good part of what can be measured,
such as the sitter.  A frame that was focused on the boughs spreads everything else, and where the
sitter stands the background frame is the sharper one.  With nobody in the picture neither may be
seen, and the pair counts as one with one focus, unless both frames record their focus distances.
"""

import numpy as np

from blendkit.frame import Capture
from blendkit.optics.focus_gap import LEAST_GAP_SHARE, recorded_gap_px
from blendkit.sharpness import RelativeBlur

Captures = tuple[Capture, Capture]
"""Of the background frame and of the foreground frame."""

_SURE, _LEAST_MEASURED = 0.25, 0.02
_ALIKE_PX, _ALIKE_SIDE_SHARE, _ALIKE_SHARE = 1.5, 0.002, 0.01
"""Relative disc up to which both frames hold a place alike, px or of the long side, and the share
of what is measured that must be at most.  Of 69 pairs those with one focus and somebody in it have
0.06 and more, those with two foci, or with nobody, at most 0.001."""
_SHARPER_SHARE = 0.05
"""Share of what is measured where the background frame must be the sharper one.  Of 62 pairs those
with two foci and somebody in it have 0.10 to 0.25, those with one focus at most 0.015, with nobody
0.02; a pair focused on the trees behind has 0.73, and holds them alike."""


def refocused(blur: RelativeBlur, captures: Captures) -> bool:
    """Return whether the foreground frame was surely focused on the boughs, not on the sitter."""
    height_px, width_px = (round(side * blur.factor) for side in blur.disc_px.shape)
    long_side_px = max(width_px, height_px)
    gap_px = recorded_gap_px(*captures, (width_px, height_px))
    if gap_px is not None and gap_px > LEAST_GAP_SHARE * long_side_px:
        return True
    sure = blur.confidence > _SURE
    if sure.mean() < _LEAST_MEASURED:
        return False
    disc_px = blur.disc_px[sure]
    alike_px = max(_ALIKE_PX, _ALIKE_SIDE_SHARE * long_side_px)
    alike, sharper = np.abs(disc_px) < alike_px, disc_px < -alike_px
    return bool(alike.mean() <= _ALIKE_SHARE and sharper.mean() > _SHARPER_SHARE)
