"""Fingerprints: whether a result still follows from its inputs, settings and version."""

import hashlib
import json
from collections.abc import Iterator, Mapping
from dataclasses import asdict, dataclass, field
from pathlib import Path
from typing import Any

from blendkit import __version__
from blendkit.batch.pairs_file import Pair
from blendkit.errors import InputError
from blendkit.files import as_the_pair, prefer_raws
from blendkit.files.checksums import sha256
from blendkit.sidecar import Sidecar


@dataclass(slots=True)
class Checksums:
    """SHA-256 of files, worked out once for each state of a file."""

    known: dict[tuple[str, int, int], str] = field(default_factory=dict)

    def __call__(self, path: Path) -> str:
        """Return a file's SHA-256; InputError if it cannot be read."""
        try:
            state = path.stat()
            key = (str(path), state.st_size, state.st_mtime_ns)
            if key not in self.known:
                self.known[key] = sha256(path)
        except OSError as error:
            raise InputError(
                f"{path}: cannot be read ({error.strerror}); check the name"
            ) from error
        return self.known[key]


def fingerprint(
    pair: Pair,
    sidecar: Sidecar,
    checksums: Checksums,
    *,
    lender: tuple[Pair, Sidecar] | None = None,
    wanted: Mapping[str, Any] | None = None,
) -> str:
    """Return a SHA-256 over everything that a pair's result depends on; wanted: what to write."""
    basis = {
        "version": __version__,
        "pair": _basis(pair, sidecar, checksums),
        "lender": None if lender is None else _basis(*lender, checksums),
        "wanted": dict(wanted or {}),
    }
    text = json.dumps(basis, sort_keys=True, default=str)
    return hashlib.sha256(text.encode()).hexdigest()


def files_read(pair: Pair) -> Iterator[tuple[str, Path]]:
    """Yield role and path of every file that a merge reads: RAWs in the place of what they made."""
    own = pair.background, pair.foreground
    frames, _ = prefer_raws(own)
    for role, path in pair.files:
        if role in ("clear", "bridge"):
            yield role, as_the_pair(path, frames[0])
        else:
            yield role, dict(zip(own, frames, strict=True)).get(path, path)


def _basis(pair: Pair, sidecar: Sidecar, checksums: Checksums) -> dict[str, Any]:
    painted = asdict(sidecar)
    # What is decided about a result, and what it was made from, does not change it.
    for name in ("decision", "inputs"):
        del painted[name]
    if not sidecar.strokes and pair.strokes is None:
        painted["size"] = None  # what was painted and undone again; else it undid the list's
    return {
        "files": [(role, checksums(path)) for role, path in files_read(pair)],
        "settings": asdict(pair.settings),
        "repair": pair.repair,
        "sidecar": painted,
    }
