"""Asks a proposed matte again, with what the pair itself says of it.

The second look comes twice: what it drops makes discs and veil clearer, and the veil its answer.
The third settles what the second left half.  Where nobody painted anything, far more of what was
proposed is no foreground: there the second look comes once and has the last word, unless it dropped
so much that the discs it judged by were those of what it dropped.  Of a frame that is focused on
the boughs it is not asked: nothing far behind looks like them there.
"""

from dataclasses import dataclass, replace

import numpy as np

from blendkit.blending import Laid
from blendkit.blending.ground_discs import told_from_ground
from blendkit.blending.proof import keep_likely, veil_testimony
from blendkit.blending.sketch import Reduced, Sketch, draw_sketch, sketched_plate
from blendkit.filters.resample import enlarge, reduce_by, share_in_cells
from blendkit.frame import Bool, Float
from blendkit.hints import Hints
from blendkit.masks.second_look import second_look
from blendkit.masks.third_look import Seen, carried_over, third_look
from blendkit.settings import MergeSettings, PlateSettings

_WORTH_ANOTHER = 0.005
"""Share of the matte that must have changed for discs and veil to be found anew."""
_FEW_LEFT, _MOST_TIMES = 0.2, 3
"""Share of the matte below which what is left is judged anew, by its own discs, and how often:
where poplars far behind were proposed with a few twigs, the first discs are the poplars'."""
_OPEN = 0.5
_CHANCE_FACTOR = 2
"""Reduction of the second look's answer, against what it is shown."""
_MARKED = 0.5
_PROPOSED = 0.02


@dataclass(frozen=True, eq=False, slots=True)
class Matted:
    """A matte so far: alpha, float32 (height, width), its colours and the veil sketched with it."""

    alpha: Float
    color: Float
    sketch: Sketch


@dataclass(frozen=True, eq=False, slots=True)
class Weighed:
    """A matte after the second look.  chance: float32, at half the size of what is reduced."""

    matted: Matted
    chance: Float


def looked_again(
    laid: Laid,
    small: Reduced,
    proposed: Matted,
    region: Bool,
    grain: float,
    hints: Hints,
    settings: MergeSettings,
) -> Matted:
    """Return a proposed matte without what leaves no veil.

    Parameters
    ----------
    laid, small : Laid, Reduced
        The pair, and the same reduced.
    proposed : Matted
        With one group of boughs at least.
    region, grain, hints, settings
        As for `explain.explained`.
    """
    weighed = weigh(laid, small, proposed, grain, hints, settings)
    kept = weighed.matted
    if not (_shown(hints) and kept.sketch.groups):
        return kept
    seen = seen_with_plate(small, weighed, proposed.alpha, settings.plate)
    open_ = share_in_cells(_open(laid, region, hints), small.factor) > _OPEN
    if hints.back_strokes is not None:
        open_ &= seen.proposed > _PROPOSED  # what a stroke took away stays away
    better = third_look(seen, open_, grain / small.factor)
    # Discs and colours stay those of what was kept: found anew they cost the halo 0.3 dB.
    carried = carried_over(kept.alpha, seen.kept, better, small.factor)
    # Cells reach past the rim of where anything may be pasted; zeros stay unwritten.
    np.copyto(carried, kept.alpha, where=~region & (carried != kept.alpha))
    return replace(kept, alpha=carried)


def weigh(
    laid: Laid,
    small: Reduced,
    proposed: Matted,
    grain: float,
    hints: Hints,
    settings: MergeSettings,
) -> Weighed:
    """Ask whether what was proposed leaves a veil, and keep what likely stands in front.

    Where hardly anything is left, the answer counts for nothing but what it dropped; what is left
    is asked about anew, by its own discs, and the answer applied to it as it was proposed.  Where
    it changes the veil of what somebody painted, it is asked again, and both answers count the
    same.  A foreground frame that is focused on the boughs shows nothing far behind that looks like
    them: there all is believed.  Parameters as for `looked_again`.
    """
    if laid.refocused:
        return Weighed(proposed, np.ones_like(reduce_by(small.softness, _CHANCE_FACTOR)))

    def asked(matted: Matted) -> Float:
        evidence, groups = matted.sketch.evidence, matted.sketch.groups
        if hints.foreground_mask is None:  # inside a painted one the boughs have the majority
            groups = told_from_ground(evidence, groups, laid.softness, settings.discs)
        said = veil_testimony(evidence, groups, laid.softness, settings.discs)
        return second_look(
            small.background,
            small.aligned,
            reduce_by(matted.alpha, small.factor),
            said.parts,
            grain / small.factor,
            painted=hints.foreground_mask is not None,
            soft=laid.factor > 1,
        )

    def without(matted: Matted, chance: Float) -> Matted:
        masked = hints.foreground_mask is not None
        factor, marked = _CHANCE_FACTOR * small.factor, hints.front_strokes
        alpha = keep_likely(matted.alpha, chance, factor, marked=marked, masked=masked)
        if not _differ(alpha, matted.alpha):
            return matted
        sketch = draw_sketch(small, alpha, matted.color, settings.discs)
        return Matted(alpha, matted.color, sketch)

    chance = asked(proposed)
    kept = without(proposed, chance)
    for _ in range(_MOST_TIMES):
        if not kept.sketch.groups or kept.alpha.sum() > _FEW_LEFT * proposed.alpha.sum():
            break
        left = np.where(kept.alpha > 0, proposed.alpha, np.float32(0))
        proposed, chance = replace(kept, alpha=left), asked(kept)
        kept = without(proposed, chance)
    if kept is proposed or not (_shown(hints) and kept.sketch.groups):
        return Weighed(kept, chance)
    chance = np.asarray((chance + asked(kept)) / 2, np.float32)
    return Weighed(without(kept, chance), chance)


def seen_with_plate(
    small: Reduced, weighed: Weighed, proposed: Float, settings: PlateSettings
) -> Seen:
    """Return what the third look sees, at the size of `small`."""
    sketch = weighed.matted.sketch
    plate, coverage = sketched_plate(small, sketch, settings)
    return Seen(
        small.aligned,
        plate,
        sketch.color,
        reduce_by(weighed.matted.alpha, small.factor),
        reduce_by(proposed, small.factor),
        enlarge(weighed.chance, _CHANCE_FACTOR, (coverage.shape[1], coverage.shape[0])),
        coverage,
        small.softness,
    )


def _shown(hints: Hints) -> bool:
    """Return whether somebody showed where the foreground is."""
    return hints.foreground_mask is not None or hints.front_strokes is not None


def _open(laid: Laid, region: Bool, hints: Hints) -> Bool:
    """Return where the third look may change the matte: not at lights, nor under strokes."""
    open_ = region & ~laid.lights
    if hints.front_strokes is not None:
        open_ &= hints.front_strokes <= _MARKED
    return np.asarray(open_, np.bool_)


def _differ(one: Float, other: Float) -> bool:
    return float(np.abs(one - other).sum()) > _WORTH_ANOTHER * float(other.sum())
