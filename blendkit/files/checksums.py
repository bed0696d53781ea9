"""The checksum list beside delivered files.

Lines are those of the GNU core utilities, so `sha256sum --check checksums.sha256` reads the list.
"""

import hashlib
import re
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from pathlib import Path

from filelock import FileLock

from blendkit.errors import InputError, OutputError
from blendkit.files.atomic import atomic, explain

LIST_NAME = "checksums.sha256"
_LOCK_NAME = ".checksums.lock"
# A backslash in front says that the name's own are doubled, an asterisk that it was read as bytes.
_LINE = re.compile(r"(\\?[0-9a-fA-F]{64}) [ *](.+)")


def sha256(path: Path) -> str:
    """Return the SHA-256 (FIPS 180-4) of a file as 64 hexadecimal digits."""
    with path.open("rb") as stream:
        return hashlib.file_digest(stream, "sha256").hexdigest()


def update_list(folder: Path, delivered: Iterable[tuple[str, str]]) -> Path:
    """Add (file name, checksum) to the folder's list, replacing those of the same name.

    Others that deliver into the folder at the same time wait for it.

    Raises
    ------
    InputError : what lies there under the list's name is none, and stays.
    OutputError : the list cannot be written.
    """
    target = folder / LIST_NAME
    with _locked(folder):
        known = _read(target) if target.exists() else {}
        known.update(delivered)
        with atomic(target) as temporary:
            text = "".join(f"{digest}  {name}\n" for name, digest in sorted(known.items()))
            # A name that is not UTF-8 is written as the bytes that it has on the disk.
            temporary.write_text(text, encoding="utf-8", errors="surrogateescape", newline="\n")
    return target


def check_list(folder: Path) -> None:
    """Raise InputError if what lies in a folder under the list's name is none.

    To be asked before work whose end is a delivery there.
    """
    target = folder / LIST_NAME
    if target.exists():
        _read(target)


def is_listed(copy: Path) -> bool:
    """Return whether the list beside a file names it.

    Raises
    ------
    InputError : what lies there under the list's name is none.
    """
    target = copy.parent / LIST_NAME
    return target.exists() and copy.name in _read(target)


def _read(target: Path) -> dict[str, str]:
    """Return the checksums of a list by file name."""
    known = {}
    try:
        text = target.read_text(encoding="utf-8-sig", errors="surrogateescape")
    except OSError as error:
        raise InputError(f"{target}: is not a checksum list; move it away") from error
    for line in filter(None, text.split("\n")):
        found = _LINE.fullmatch(line)
        if found is None:  # it would be lost
            raise InputError(f"{target}: is not a checksum list; move it away")
        known[found[2]] = found[1]
    return known


@contextmanager
def _locked(folder: Path) -> Iterator[None]:
    """Keep other processes from the list; the lock's file stays, or two could hold it at once."""
    lock = FileLock(folder / _LOCK_NAME)
    try:
        lock.acquire()
    except OSError as error:
        raise OutputError(f"{folder / LIST_NAME}: {explain(error)}") from error
    try:
        yield
    finally:
        lock.release()
