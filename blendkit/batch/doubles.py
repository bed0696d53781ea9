"""Frames that lie in several folders, as the camera's files and edited ones: each counts once."""

from collections import Counter
from collections.abc import Sequence
from pathlib import Path

from blendkit.batch.folder import rank
from blendkit.batch.shots import Shot


def counted_once(shots: Sequence[Shot], folder: Path) -> tuple[list[Shot], list[str]]:
    """Return shots of which none is another rendering of another's frame, and notes on the others.

    Frames of one name, camera and moment are one frame.  The folder that holds most frames stands
    for the others, as both frames of a pair should be rendered alike.

    folder : from which notes name folders.
    """
    held = Counter(shot.path.parent for shot in shots)
    by_frame: dict[object, list[Shot]] = {}
    for shot in shots:
        by_frame.setdefault(_frame(shot), []).append(shot)
    kept: set[Path] = set()
    left_out: Counter[tuple[Path, Path]] = Counter()
    for same in by_frame.values():
        first, *others = sorted(
            same, key=lambda shot: (-held[shot.path.parent], rank(shot.path), shot.path)
        )
        kept.add(first.path)
        left_out.update((other.path.parent, first.path.parent) for other in others)
    notes = [
        f"{_named(other, folder)}: {count} of its frames count once together with those of "
        f"{_named(own, folder)}; move one of the folders away to choose"
        for (other, own), count in left_out.items()
    ]
    return [shot for shot in shots if shot.path in kept], notes


def _frame(shot: Shot) -> object:
    """Return what frames of one name in several folders have in common; the path where unknown."""
    moment, camera = shot.capture.captured_at, shot.capture.camera
    if moment is None or camera is None:
        return shot.path
    # An editor may drop fractions of a second, and the zone.
    return shot.path.stem.lower(), camera, moment.replace(microsecond=0, tzinfo=None)


def _named(place: Path, folder: Path) -> str:
    return place.relative_to(folder).as_posix() if place != folder else folder.name
