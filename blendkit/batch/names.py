"""Names that tell the pairs of a shoot apart, although cameras count from one in every folder."""

from collections import Counter
from dataclasses import replace
from pathlib import Path

from blendkit.batch.found import FoundPair

_ODD = frozenset('/\\:*?"<>|')
LONGEST_BYTES = 200
"""Of a pair's name in UTF-8: disks take 255 (POSIX, NAME_MAX), and its files have endings."""


def is_file_name(name: str) -> bool:
    """Return whether a name can be a file's, on any system.

    >>> is_file_name("gate-2"), is_file_name("12:30 a"), is_file_name(".gate"), is_file_name("")
    (True, False, False, False)
    """
    odd = bool(_ODD & set(name)) or not name.isprintable() or name[:1] == "."
    return bool(name) and not odd and len(name.encode(errors="surrogateescape")) <= LONGEST_BYTES


def as_file_name(name: str) -> str:
    """Return a name that can be a file's on any system, as near to a given one as may be.

    >>> as_file_name("12:30 a"), as_file_name("..gate"), len(as_file_name("x" * 300))
    ('12-30 a', 'gate', 200)
    """
    plain = "".join("-" if c in _ODD or not c.isprintable() else c for c in name).lstrip(".")
    while len(plain.encode(errors="surrogateescape")) > LONGEST_BYTES:
        plain = plain[:-1]
    return plain or "pair"


def uniquely_named(pairs: list[FoundPair]) -> list[FoundPair]:
    """Return pairs whose names, those of their background frames, are told apart.

    By as many of the folders that they lie in as it takes, and by numbers where that is not enough:
    two pairs of one name would be one result.
    """
    pairs = [replace(pair, name=as_file_name(pair.name)) for pair in pairs]
    named, depth = pairs, 0
    deepest = max((len(pair.background.parent.parts) for pair in pairs), default=0)
    while (twice := _not_alone(named)) and depth < deepest:
        depth += 1
        named = [
            replace(now, name=as_file_name("-".join((*_folders(own.background, depth), own.name))))
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
