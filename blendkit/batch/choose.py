"""Who is who in a set-up: background, foreground and bridge frames, and the best partner.

A clear frame looks like one more pose; `clear` says what tells it from one.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from blendkit.batch.aperture import PAIR_STOPS, aperture_values, groups, sides
from blendkit.batch.clear import cleared
from blendkit.batch.focus import all_between, focus_states, nearest, vergences_of
from blendkit.batch.likeness import contrast, sharper_shares
from blendkit.batch.setups import Likenesses, SetUp, gap_s, in_order
from blendkit.batch.shots import Shot

_MOST_BRIDGES = 3
_OPEN_FOCUS = (
    "no distances are recorded, and some frames stopped down may be bridges: list bridges in "
    "pairs.toml yourself"
)
_OPEN_CERTAINTY = 0.5
"""Share of the certainty that is left where a bridge frame may have been taken for the other."""
_ASIDE_WITHIN_S = 120.0
"""Time in which somebody holds a bough aside, s (common practice, no source)."""


@dataclass(frozen=True, eq=False, slots=True)
class Cast:
    """The frames of a set-up by role.

    kind: "aperture", "focus" or "both".
    evidence: sentence on what tells the two sides apart; certainty: 0 to 1, how sure that is.
    """

    kind: str
    backgrounds: tuple[Shot, ...]
    foregrounds: tuple[Shot, ...]
    bridges: tuple[Shot, ...]
    evidence: str
    certainty: float


def cast_of(setup: SetUp, likenesses: Likenesses) -> Cast | None:
    """Return who is who in a set-up; None if nothing in it makes a pair."""
    shots = setup.shots
    if len(shots) < 2:
        return None
    values = aperture_values(shots)
    by_aperture = groups(values)
    if not by_aperture:
        return _by_sharpness(shots, likenesses)
    mean = [float(np.mean([values[k] for k in group])) for group in by_aperture]
    if mean[-1] - mean[0] >= PAIR_STOPS:
        return _by_aperture(shots, values, likenesses)
    return _by_focus(shots, likenesses)


def _by_aperture(
    shots: Sequence[Shot], values: Sequence[float | None], likenesses: Likenesses
) -> Cast:
    wide, between, stopped = ([shots[k] for k in side] for side in sides(values))
    if vergences_of(wide) is not None:  # poses that differ would be taken for refocused frames
        states = [[wide[k] for k in state] for state in focus_states(wide, likenesses)]
        if all_between((*between, *stopped), states[0], states[-1]):
            middle = [shot for state in states[1:-1] for shot in state]
            return _focus_cast(states[0], states[-1], [*middle, *between, *stopped])
    backgrounds, refocused = _far_ones(wide, likenesses)
    foregrounds, further = _near_ones(between, stopped)
    known = [value for value in values if value is not None]
    evidence, certainty = _told_by(wide, stopped, max(known) - min(known))
    if _may_hold_bridges(stopped, len(backgrounds), likenesses):
        evidence, certainty = f"{evidence}; {_OPEN_FOCUS}", _OPEN_CERTAINTY * certainty
    return Cast(
        kind="both" if _refocused_tags(backgrounds[0], foregrounds[0]) else "aperture",
        backgrounds=tuple(backgrounds),
        foregrounds=tuple(foregrounds),
        bridges=(*further, *refocused),
        evidence=evidence,
        certainty=certainty,
    )


def _near_ones(between: Sequence[Shot], stopped: list[Shot]) -> tuple[list[Shot], list[Shot]]:
    """Split frames stopped down into foreground and bridge frames, those focused nearest first.

    A bridge frame may be stopped down as far as the foreground frame, or farther: its focus tells.
    """
    others = [*between, *stopped]
    near = [others[k] for k in nearest(others)]
    foregrounds = [shot for shot in near if shot in stopped] or near
    return foregrounds, [shot for shot in others if shot not in foregrounds]


def _may_hold_bridges(stopped: Sequence[Shot], poses: int, likenesses: Likenesses) -> bool:
    """Return whether frames stopped down may differ in focus where no distance is recorded.

    One is taken twice, as it is the one that shakes; more of them than that and than poses, or what
    is sharp in them, tell of bridge frames.
    """
    if vergences_of(stopped) is not None:
        return False
    return len(stopped) > max(2, poses) or len(focus_states(stopped, likenesses)) > 1


def _far_ones(wide: Sequence[Shot], likenesses: Likenesses) -> tuple[list[Shot], list[Shot]]:
    """Split frames wide open into poses and frames refocused for a bridge.

    A bridge frame stands alone at its distance; where several were taken, that is where the sitter
    stood.
    """
    if vergences_of(wide) is None:
        return list(wide), []  # poses that differ would be taken for refocused frames
    states = focus_states(wide, likenesses)
    if len(states) < 2:
        return list(wide), []
    posed = [state for state in states if len(state) > 1] or states[:1]
    poses = {k for state in posed for k in state}
    return (
        [shot for k, shot in enumerate(wide) if k in poses],
        [shot for k, shot in enumerate(wide) if k not in poses],
    )


def _told_by(wide: Sequence[Shot], stopped: Sequence[Shot], stops: float) -> tuple[str, float]:
    """Return what tells two sides apart, as words, and how sure that is."""
    sides_ = [[shot.capture.f_number for shot in side] for side in (wide, stopped)]
    if all(number for side in sides_ for number in side):
        one, other = (_span([number for number in side if number]) for side in sides_)
        return f"{one} against {other}", 1.0
    return (
        f"about {stops:.0f} stops apart by exposure and brightness, no f-number",
        0.8 if stops > 3 else 0.6,
    )


def _span(numbers: Sequence[float]) -> str:
    least, most = min(numbers), max(numbers)
    return f"f/{least:g}" if least == most else f"f/{least:g} to f/{most:g}"


def _refocused_tags(background: Shot, foreground: Shot) -> bool:
    a, b = background.capture.focus_distance_m, foreground.capture.focus_distance_m
    return bool(a and b and abs(1 / a - 1 / b) > 0.05)


def _by_focus(shots: Sequence[Shot], likenesses: Likenesses) -> Cast | None:
    states = focus_states(shots, likenesses)
    if len(states) < 2:
        return None
    far, near = ([shots[k] for k in state] for state in (states[0], states[-1]))
    return _focus_cast(far, near, [shots[k] for state in states[1:-1] for k in state])


def _focus_cast(far: Sequence[Shot], near: Sequence[Shot], bridges: Sequence[Shot]) -> Cast:
    a, b = far[0].capture.focus_distance_m, near[0].capture.focus_distance_m
    tagged = a is not None and b is not None
    return Cast(
        kind="focus",
        backgrounds=tuple(far),
        foregrounds=tuple(near),
        bridges=tuple(bridges),
        evidence=f"focused at {a:.3g} m and {b:.3g} m" if tagged else "sharp in different zones",
        certainty=1.0 if tagged else 0.75,
    )


def _by_sharpness(shots: Sequence[Shot], likenesses: Likenesses) -> Cast | None:
    """Cast shots that record neither aperture nor exposure: sharper everywhere = stopped down."""
    by_focus = _by_focus(shots, likenesses)
    if by_focus is not None:
        return by_focus
    level = [float(np.log2(np.mean(contrast(shot.small)) + 1e-6)) for shot in shots]
    order = sorted(range(len(shots)), key=lambda k: level[k])
    soft, sharp = shots[order[0]], shots[order[-1]]
    one, other = sharper_shares(soft.small, sharp.small, likenesses(soft, sharp).matrix)
    if other < 0.12 or one > 0.03:
        return None
    middle = (level[order[0]] + level[order[-1]]) / 2
    return Cast(
        kind="aperture",
        backgrounds=tuple(shots[k] for k in range(len(shots)) if level[k] < middle),
        foregrounds=tuple(shots[k] for k in range(len(shots)) if level[k] >= middle),
        bridges=(),
        evidence="sharper throughout, no f-number and no exposure recorded",
        certainty=0.55,
    )


@dataclass(frozen=True, eq=False, slots=True)
class Partner:
    """The foreground frame chosen for a background frame; merit is relative to the others."""

    shot: Shot
    likeness: float
    reason: str


def best_foreground(background: Shot, cast: Cast, likenesses: Likenesses) -> Partner:
    """Return the foreground frame that fits best: alike, not shaken, not clipped."""
    sharpness = [float(np.mean(contrast(shot.small))) for shot in cast.foregrounds]
    top = max(sharpness)
    merits = []
    for shot, sharp in zip(cast.foregrounds, sharpness, strict=True):
        alike = likenesses(background, shot).share
        soft = min(0.0, np.log2(sharp / top + 1e-6) + 0.1)
        merits.append(alike + 0.6 * soft - _clipped(shot) - 0.1 * _opener(shot, cast.foregrounds))
    best = int(np.argmax(merits))
    chosen = cast.foregrounds[best]
    alike = likenesses(background, chosen).share
    return Partner(chosen, alike, _why(best, sharpness, len(cast.foregrounds)))


def _opener(shot: Shot, others: Sequence[Shot]) -> float:
    """Return how many stops a frame is more open than the others, where only exposure tells.

    One stop lies within what the light may have changed, so they count as one aperture.
    """
    if shot.capture.f_number is not None:
        return 0.0
    given = [other.capture for other in (shot, *others)]
    light = [np.log2(c.exposure_time_s * c.iso) for c in given if c.exposure_time_s and c.iso]
    return float(max(light) - light[0]) if len(light) == len(given) else 0.0


def _clipped(shot: Shot) -> float:
    return float(np.mean(shot.small > 0.97))


def _why(best: int, sharpness: Sequence[float], count: int) -> str:
    if count == 1:
        return ""
    softest = min(sharpness)
    note = (
        ", none of them shaken"
        if softest > 0.75 * sharpness[best]
        else ", sharper than a shaken one"
    )
    return f"best of {count} foreground frames{note}"


def clears_among(cast: Cast, likenesses: Likenesses) -> dict[Shot, Shot]:
    """Return the clear frames among the poses of two apertures: background frame to clear frame.

    Only neighbours with one exposure are asked; of the two the clear frame is the one that the
    stopped frame differs more from.
    """
    found: dict[Shot, Shot] = {}
    if cast.kind == "focus":
        return found
    taken: set[Shot] = set()
    for pair in pairwise(in_order(cast.backgrounds)):
        if taken & set(pair) or not _alike_exposed(*pair):
            continue
        stopped = best_foreground(pair[0], cast, likenesses).shot.small
        ways = [(cleared(a.small, b.small, stopped), a, b) for a, b in (pair, pair[::-1])]
        evidence, background, clear = max(ways, key=lambda way: way[0].log_odds)
        if evidence.sure:
            found[background] = clear
            taken |= set(pair)
    return found


def _alike_exposed(first: Shot, second: Shot) -> bool:
    """Return whether two frames were exposed alike and soon after each other, if it is known."""
    one, other = first.capture, second.capture
    if (one.exposure_time_s, one.iso) != (other.exposure_time_s, other.iso):
        return False
    if np.array_equal(first.small, second.small):
        return False  # a copy of the same frame, nothing was held aside
    gap = gap_s(first, second)
    return first.small.shape == second.small.shape and (gap is None or gap < _ASIDE_WITHIN_S)


def bridges_for(background: Shot, cast: Cast) -> tuple[Shot, ...]:
    """Return up to three bridge frames, those taken next to the background frame first."""
    taken = in_order((*cast.bridges, background))
    here = taken.index(background)
    apart = {id(shot): abs(taken.index(shot) - here) for shot in cast.bridges}
    return tuple(sorted(cast.bridges, key=lambda shot: apart[id(shot)])[:_MOST_BRIDGES])
