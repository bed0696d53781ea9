"""The checksum list beside delivered files.

Lines are those of the GNU core utilities, so `sha256sum --check checksums.sha256` reads the list.
"""

import hashlib
from collections.abc import Iterable
from pathlib import Path

from blendkit.errors import InputError
from blendkit.files.atomic import atomic

LIST_NAME = "checksums.sha256"


def sha256(path: Path) -> str:
    """Return the SHA-256 (FIPS 180-4) of a file as 64 hexadecimal digits."""
    with path.open("rb") as stream:
        return hashlib.file_digest(stream, "sha256").hexdigest()


def update_list(folder: Path, delivered: Iterable[tuple[str, str]]) -> Path:
    """Add (file name, checksum) to the folder's list, replacing those of the same name."""
    target = folder / LIST_NAME
    known = {}
    try:
        lines = target.read_text(encoding="utf-8").splitlines() if target.exists() else []
    except (OSError, UnicodeDecodeError) as error:
        raise InputError(f"{target}: is not a checksum list; move it away") from error
    for line in lines:
        digest, _, name = line.partition("  ")
        if name:
            known[name] = digest
    known.update(delivered)
    with atomic(target) as temporary:
        text = "".join(f"{digest}  {name}\n" for name, digest in sorted(known.items()))
        temporary.write_text(text, encoding="utf-8")
    return target
