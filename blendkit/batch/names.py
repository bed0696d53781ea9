"""Names that tell the pairs of a shoot apart, although cameras count from one in every folder."""

from collections import Counter
from dataclasses import replace
from pathlib import Path

from blendkit.batch.found import FoundPair


def uniquely_named(pairs: list[FoundPair]) -> list[FoundPair]:
    """Return pairs whose names, those of their background frames, are told apart.

    By as many of the folders that they lie in as it takes, and by numbers where that is not enough:
    two pairs of one name would be one result.
    """
    named, depth = pairs, 0
    deepest = max((len(pair.background.parent.parts) for pair in pairs), default=0)
    while (twice := _not_alone(named)) and depth < deepest:
        depth += 1
        named = [
            replace(now, name="-".join((*_folders(own.background, depth), own.name)))
            if now.name.lower() in twice
            else now
            for own, now in zip(pairs, named, strict=True)
        ]
    taken: set[str] = set()
    return [_numbered(pair, taken) for pair in named]


def _not_alone(pairs: list[FoundPair]) -> set[str]:
    counts = Counter(pair.name.lower() for pair in pairs)
    return {name for name, count in counts.items() if count > 1}


def _folders(path: Path, depth: int) -> tuple[str, ...]:
    """Return the names of the innermost folders of a file, the outermost of them first."""
    parts = [part for part in path.parent.parts if part != path.anchor]
    return tuple(parts[-depth:])


def _numbered(pair: FoundPair, taken: set[str]) -> FoundPair:
    """Return a pair under a name that is not taken yet, and take it."""
    name, number = pair.name, 2
    while name.lower() in taken:
        name, number = f"{pair.name}-{number}", number + 1
    taken.add(name.lower())
    return replace(pair, name=name)
