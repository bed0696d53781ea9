"""Set-ups: frames of one scene from one place, gathered camera by camera.

A camera's frames are walked in the order they were taken.  A frame joins the recent set-up that it
is most like, or starts one of its own.  How alike it must be depends on the pause before it: within
a pause as between the poses of a set-up less is enough than after the time that moving a tripod
takes.
"""

import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace
from itertools import pairwise

import numpy as np

from blendkit.batch.folder import natural_order
from blendkit.batch.hues import hue_agreement
from blendkit.batch.likeness import Likeness, likeness
from blendkit.batch.shots import Shot

ENOUGH, AFTER_PAUSE, UNTIMED, RETURNED = 1.6, 2.6, 2.1, 2.6
"""Evidence of likeness asked for: in step with the frames before, after a pause, time unknown, and
of a set-up that was left for another since."""

_RECENT = 4
_LOOKED_AT = 4
_PAUSE_S = 30.0
_ZOOMED = 1.03
_NUMBER, _HALF_COUNT = re.compile(r"(\d+)\D*$"), 0.5
"""A camera's number in a name, and the leap, of all that its digits count, where it began anew."""


@dataclass(eq=False)
class SetUp:
    """Frames of one set-up, in the order they were taken, and how alike pairs of them are."""

    shots: list[Shot] = field(default_factory=list)

    def looked_at(self) -> list[Shot]:
        """Return up to four members to compare with: the latest of each kind, then the latest."""
        latest = {
            (shot.capture.f_number, shot.capture.focus_distance_m): shot for shot in self.shots
        }
        kinds = list(latest.values())[-(_LOOKED_AT - 1) :]
        return [*kinds, *[shot for shot in self.shots[-_LOOKED_AT:] if shot not in kinds]][
            :_LOOKED_AT
        ]


@dataclass(eq=False)
class Likenesses:
    """Likeness of pairs of shots, worked out once each."""

    known: dict[tuple[int, int], Likeness] = field(default_factory=dict)

    def __call__(self, first: Shot, second: Shot) -> Likeness:
        """Return how alike two shots of one size are."""
        key = (id(first), id(second))
        if key not in self.known:
            found = likeness(first.small, second.small)
            if first.hues is not None and second.hues is not None:
                long_px = max(first.small.shape)
                hues = hue_agreement(first.hues, second.hues, found.matrix, small_px=long_px)
                found = replace(found, hues=hues)
            self.known[key] = found
        return self.known[key]


def find_setups(
    shots: Sequence[Shot],
    likenesses: Likenesses,
    *,
    told: Callable[[int], None] = lambda _: None,
) -> list[SetUp]:
    """Gather shots into set-ups; every shot is in one.

    told: called with the number of shots gathered so far.
    """
    setups: list[SetUp] = []
    count = 0
    for stream in streams(shots):
        own: list[SetUp] = []
        pause_s = _usual_pause_s(stream)
        for shot in stream:
            home = _home(shot, own[-_RECENT:], likenesses, pause_s)
            if home is None:
                home = SetUp()
            else:
                own.remove(home)
            own.append(home)  # the most recently used comes last
            home.shots.append(shot)
            count += 1
            told(count)
        setups += own
    return sorted(setups, key=lambda setup: natural_order(setup.shots[0].path))


def streams(shots: Sequence[Shot]) -> list[list[Shot]]:
    """Return the shots by camera, in the order they were taken."""
    by_camera: dict[tuple[object, ...], list[Shot]] = {}
    for shot in shots:
        key = (shot.capture.camera, shot.size)
        by_camera.setdefault(key, []).append(shot)
    return [in_order(stream) for stream in by_camera.values()]


def in_order(shots: Sequence[Shot]) -> list[Shot]:
    """Return shots as they were taken: by the camera's numbers, by time if names are no numbers.

    A clock may be set in the middle of a shoot; a camera's count goes on, from 9999 to 1.
    """
    named = _counted_on(sorted(shots, key=lambda shot: natural_order(shot.path)))
    times = [shot.capture.captured_at for shot in named]
    known = [moment.replace(tzinfo=None) for moment in times if moment is not None]
    if len(known) < len(named) or len(named) < 3:
        return named
    falls = sum(later < earlier for earlier, later in pairwise(known))
    if falls <= max(1, 0.1 * len(known)):
        return named
    pairs = sorted(zip(known, range(len(named)), strict=True))
    return [named[index] for _, index in pairs]


def _counted_on(named: list[Shot]) -> list[Shot]:
    """Return shots in the order of their names, those before the count began anew first.

    Where it did, the names leap by more than half of what the digits can count, and the time falls.
    """
    numbers = [_NUMBER.search(shot.path.stem) for shot in named]
    for at, (one, other) in enumerate(pairwise(numbers), start=1):
        if one is None or other is None or len(one[1]) != len(other[1]):
            continue
        before, after = (shot.capture.captured_at for shot in (named[at - 1], named[at]))
        if before is None or after is None:
            continue
        leaps = int(other[1]) - int(one[1]) > _HALF_COUNT * 10 ** len(one[1])
        if leaps and after.replace(tzinfo=None) < before.replace(tzinfo=None):
            return named[at:] + named[:at]
    return named


def gap_s(first: Shot, second: Shot) -> float | None:
    """Return the time between two shots, s; None where one has no time."""
    a, b = first.capture.captured_at, second.capture.captured_at
    if a is None or b is None:
        return None
    return abs((a.replace(tzinfo=None) - b.replace(tzinfo=None)).total_seconds())


def _usual_pause_s(stream: Sequence[Shot]) -> float:
    """Return a pause that is longer than those between the frames of a set-up."""
    gaps = [gap_s(a, b) for a, b in pairwise(stream)]
    known = [gap for gap in gaps if gap is not None]
    return max(_PAUSE_S, 3 * float(np.median(known))) if known else _PAUSE_S


def _home(
    shot: Shot, recent: Sequence[SetUp], likenesses: Likenesses, pause_s: float
) -> SetUp | None:
    best, home = 0.0, None
    for setup in recent:
        asked = _asked(gap_s(setup.shots[-1], shot), pause_s)
        if setup is not recent[-1]:
            asked = max(asked, RETURNED)
        for other in setup.looked_at():
            if not _same_lens(shot, other):
                continue
            excess = likenesses(other, shot).evidence - asked
            if excess > best:
                best, home = excess, setup
    return home


def _asked(gap: float | None, pause_s: float) -> float:
    if gap is None:
        return UNTIMED
    return ENOUGH if gap <= pause_s else AFTER_PAUSE


def _same_lens(first: Shot, second: Shot) -> bool:
    a, b = first.capture.focal_length_mm, second.capture.focal_length_mm
    return a is None or b is None or max(a, b) / min(a, b) < _ZOOMED
