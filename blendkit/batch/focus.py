"""Focus distances within one aperture of a set-up: from tags, else from what is sharp where."""

from collections.abc import Sequence
from itertools import combinations
from math import isinf

import numpy as np

from blendkit.batch.likeness import sharper_shares, sharpness_change
from blendkit.batch.lost import lost_shares
from blendkit.batch.setups import Likenesses
from blendkit.batch.shots import Shot

_APART_PER_M = 0.05
"""Difference of 1/distance (1/m) from which two recorded distances differ: 6 m and 4.6 m."""

_ONE_SHARE, _BOTH_SHARES = 0.005, 0.2
"""Shares of contrast that the other frame shows nowhere as sharp: each frame has at least the
first, both together the second.  A shaken frame, or one whose focus was missed, has none."""

_BETWEEN = 0.92
"""A frame focused between two others loses less to each than they lose to one another: to the near
one 0.36 to 0.90 of it in 35 brackets, where one more pose loses 0.94 to 1.20 of it (18 trials)."""


_REFOCUSED = 1.06
"""Ratio of distances from which two frames at one aperture were refocused against each other, where
a bridge frame must be told from what it bridges: tags of one focus differ by some per cent."""


def vergences_of(shots: Sequence[Shot]) -> list[float] | None:
    """Return recorded focus distances as 1/m; None where one is missing."""
    recorded = [shot.capture.focus_distance_m for shot in shots]
    known = [distance for distance in recorded if distance is not None]
    if len(known) < len(recorded):
        return None
    return [0.0 if isinf(distance) else 1 / distance for distance in known]


def nearest(shots: Sequence[Shot]) -> list[int]:
    """Return indices of the shots focused nearest; all of them where that is not recorded.

    Those of one focus count as one, although their tags differ a little.
    """
    vergences = vergences_of(shots)
    if vergences is None or len(_by_tags(vergences)) < 2:
        return list(range(len(shots)))
    return [k for k, value in enumerate(vergences) if value * _REFOCUSED > max(vergences)]


def all_between(shots: Sequence[Shot], far: Sequence[Shot], near: Sequence[Shot]) -> bool:
    """Return whether all shots are recorded as focused between the far and the near ones."""
    inner, farther, nearer = (vergences_of(some) for some in (shots, far, near))
    if not (inner and farther and nearer):
        return False
    return max(farther) * _REFOCUSED < min(inner) and max(inner) * _REFOCUSED < min(nearer)


def focus_states(shots: Sequence[Shot], likenesses: Likenesses) -> list[list[int]]:
    """Return indices of shots by focus, the farthest focus first; one list if all are alike."""
    vergences = vergences_of(shots)
    return _by_pixels(shots, likenesses) if vergences is None else _by_tags(vergences)


def _by_tags(vergences: Sequence[float]) -> list[list[int]]:
    found: list[list[int]] = []
    anchor = float("-inf")
    for vergence, index in sorted(zip(vergences, range(len(vergences)), strict=True)):
        if vergence - anchor > max(_APART_PER_M, 0.12 * vergence):
            found.append([])
            anchor = vergence
        found[-1].append(index)
    return found


def _by_pixels(shots: Sequence[Shot], likenesses: Likenesses) -> list[list[int]]:
    """Split shots between the two that are refocused most against each other."""
    shares = {
        (a, b): _lost(shots[a], shots[b], likenesses) for a, b in combinations(range(len(shots)), 2)
    }
    apart = {key: sum(pair) for key, pair in shares.items() if _refocused(pair)}
    if not apart:
        return [list(range(len(shots)))]
    first, last = max(apart, key=lambda key: apart[key])
    if not _first_is_far(shots[first], shots[last], likenesses):
        first, last = last, first
    unlike = {key: sum(pair) for key, pair in shares.items()}
    unlike |= {(b, a): value for (a, b), value in unlike.items()}
    far, near = [first], [last]
    between: list[int] = []
    for index in range(len(shots)):
        if index not in (first, last):
            home = _side(index, first, last, unlike, len(shots))
            (far, between, near)[home].append(index)
    return [far, *([between] if between else []), near]


def _lost(first: Shot, second: Shot, likenesses: Likenesses) -> tuple[float, float]:
    """Return the shares of contrast that one frame alone has; to move is not to lose."""
    found = first.small, second.small, likenesses(first, second).matrix
    sharper = sharper_shares(*found)
    return lost_shares(*found) if sum(sharper) > _BOTH_SHARES else sharper


def _refocused(shares: tuple[float, float]) -> bool:
    return min(shares) > _ONE_SHARE and sum(shares) > _BOTH_SHARES


def _side(index: int, far: int, near: int, unlike: dict[tuple[int, int], float], count: int) -> int:
    """Return 0 for a shot focused as the far one, 1 for one between, 2 for one as the near one."""
    to_far, to_near, whole = unlike[index, far], unlike[index, near], unlike[far, near]
    in_step = min(far, near) < index < max(far, near) and count <= 5
    if in_step and max(to_far, to_near) < _BETWEEN * whole:
        return 1
    return 0 if to_far <= to_near else 2


def _first_is_far(first: Shot, second: Shot, likenesses: Likenesses) -> bool:
    """Return whether the first is the sharper one towards the middle, where the sitter is.

    The sitter stands in the middle and the foreground frames him (common practice, no source).
    Right for all 54 focus pairs of the simulated shoots.
    """
    change, weight = sharpness_change(first.small, second.small, likenesses(first, second).matrix)
    x = np.linspace(-1, 1, change.shape[1])[None, :] / 0.35
    y = np.linspace(-1, 1, change.shape[0])[:, None] / 0.6
    weight = np.asarray(weight * np.exp(-(x**2) - y**2), np.float32)
    return float((change * weight).sum()) > 0
