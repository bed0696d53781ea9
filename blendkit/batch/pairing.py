"""Finds the pairs of a shoot."""

from collections.abc import Callable
from pathlib import Path

from blendkit.batch.choose import Cast, Partner, best_foreground, bridges_for, cast_of, clears_among
from blendkit.batch.doubles import counted_once
from blendkit.batch.folder import find_frames
from blendkit.batch.found import Found, FoundPair
from blendkit.batch.names import uniquely_named
from blendkit.batch.setups import Likenesses, SetUp, find_setups, gap_s
from blendkit.batch.shots import Shot, read_shots


def find_pairs(folder: Path, *, told: Callable[[str, float], None] = lambda *_: None) -> Found:
    """Find the pairs among the frames of a folder.

    told: called with what runs and the share done.

    Raises
    ------
    InputError : no such folder, or no picture in it.
    """
    paths, notes = find_frames(folder)
    told = _seldom(told)
    shots, unread = read_shots(paths, told=lambda n: told("reading", n / len(paths)))
    shots, doubled = counted_once(shots, folder)
    likenesses = Likenesses()
    setups = find_setups(
        shots, likenesses, told=lambda n: told("comparing", n / max(len(shots), 1))
    )
    pairs: list[FoundPair] = []
    alone = [(item.path, item.reason.removeprefix(f"{item.path.name}: ")) for item in unread]
    number = 0
    for setup in setups:
        cast = cast_of(setup, likenesses)
        if cast is None:
            alone += [(shot.path, _reason_alone(setup)) for shot in setup.shots]
            continue
        number += 1
        clears = clears_among(cast, likenesses)
        pairs += [
            _pair(shot, cast, number, likenesses, clears.get(shot))
            for shot in cast.backgrounds
            if shot not in clears.values()
        ]
        used = {path for pair in pairs for path in _files(pair)}
        alone += [
            (shot.path, _reason_unused(shot, cast)) for shot in setup.shots if shot.path not in used
        ]
    return Found(folder, tuple(uniquely_named(pairs)), tuple(alone), (*notes, *doubled))


def _seldom(told: Callable[[str, float], None]) -> Callable[[str, float], None]:
    """Return a teller that passes on every tenth of a stage, not every frame."""
    last = ["", -1]

    def tell(stage: str, share: float) -> None:
        if [stage, int(10 * share)] != last:
            last[:] = [stage, int(10 * share)]
            told(stage, share)

    return tell


def _pair(
    background: Shot, cast: Cast, number: int, likenesses: Likenesses, clear: Shot | None
) -> FoundPair:
    partner = best_foreground(background, cast, likenesses)
    return FoundPair(
        name=background.path.stem,
        kind=cast.kind,
        setup=number,
        background=background.path,
        foreground=partner.shot.path,
        bridges=tuple(shot.path for shot in bridges_for(background, cast)),
        clear=None if clear is None else clear.path,
        certainty=_certainty(background, cast, partner),
        why=_sentence(background, cast, partner, clear),
    )


def _certainty(background: Shot, cast: Cast, partner: Partner) -> float:
    """Return how sure a pair is: what tells the sides apart, likeness, and time between."""
    gap = gap_s(background, partner.shot)
    late = 0.9 if gap is None else 1.0 if gap < 600 else 0.8
    alike = min(1.0, 0.4 + 0.8 * partner.likeness)
    return round(min(0.99, cast.certainty * alike * late), 2)


def _sentence(background: Shot, cast: Cast, partner: Partner, clear: Shot | None) -> str:
    parts = [cast.evidence, f"likeness {partner.likeness:.2f}"]
    gap = gap_s(background, partner.shot)
    parts.append("time not recorded" if gap is None else f"{_duration(gap)} apart")
    if partner.reason:
        parts.append(partner.reason)
    if clear is not None:
        parts.append(f"in {clear.path.name} the sitter stands as here and the foreground is gone")
    return "; ".join(parts)


def _duration(seconds: float) -> str:
    if seconds < 90:
        return f"{seconds:.0f} s"
    return f"{seconds / 60:.0f} min" if seconds < 5400 else f"{seconds / 3600:.1f} h"


def _reason_alone(setup: SetUp) -> str:
    if len(setup.shots) == 1:
        return "no other frame of this set-up"
    return f"one of {len(setup.shots)} frames of a set-up at one aperture and focus"


def _reason_unused(shot: Shot, cast: Cast) -> str:
    """Return why no pair of a set-up takes a frame; every background frame makes a pair."""
    if shot in cast.bridges:
        return "three other bridge frames were taken nearer to the pair"
    return "another foreground frame of the set-up fits better"


def _files(pair: FoundPair) -> tuple[Path, ...]:
    third = () if pair.clear is None else (pair.clear,)
    return pair.background, pair.foreground, *third, *pair.bridges
