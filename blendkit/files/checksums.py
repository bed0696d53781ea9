"""The checksum list beside delivered files.

Lines are those of the GNU core utilities, so `sha256sum --check checksums.sha256` reads the list.
"""

import hashlib
import re
from collections.abc import Iterable, Iterator, Mapping
from contextlib import contextmanager
from pathlib import Path

from filelock import FileLock

from blendkit.errors import InputError, OutputError
from blendkit.files.atomic import atomic, explain

LIST_NAME = "checksums.sha256"
_LOCK_NAME = ".checksums.lock"
# A backslash in front says that the name is escaped, an asterisk that it was read as bytes.
_LINE = re.compile(r"(\\?)([0-9a-fA-F]{64}) [ *](.+)")


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
        _write(target, _read(target) | dict(delivered))
    return target


def take_out(copy: Path) -> None:
    """Take a file out of the list beside it, to be called right before the file is replaced.

    Whoever dies between the two then leaves a file without a checksum and none with a wrong one,
    which would be taken for a file that somebody has changed.
    """
    target = copy.parent / LIST_NAME
    if listed(copy) is None:
        return
    with _locked(copy.parent):
        known = _read(target)
        known.pop(copy.name, None)
        _write(target, known)


def check_list(folder: Path) -> None:
    """Raise InputError if what lies in a folder under the list's name is none.

    To be asked before work whose end is a delivery there.
    """
    _read(folder / LIST_NAME)


def listed(copy: Path) -> str | None:
    """Return the checksum that the list beside a file gives it, None if there is none.

    Raises
    ------
    InputError : what lies there under the list's name is none.
    """
    return _read(copy.parent / LIST_NAME).get(copy.name)


def _read(target: Path) -> dict[str, str]:
    """Return the checksums of a list by file name; none where there is no list."""
    known = {}
    try:
        text = target.read_text(encoding="utf-8-sig", errors="surrogateescape")
    except (FileNotFoundError, NotADirectoryError):
        return {}
    except OSError as error:
        raise InputError(f"{target}: is not a checksum list; move it away") from error
    for line in filter(None, text.split("\n")):
        found = _LINE.fullmatch(line)
        if found is None:  # it would be lost
            raise InputError(f"{target}: is not a checksum list; move it away")
        escaped, digest, name = found.groups()
        known[_plain(name) if escaped else name] = digest.lower()
    return known


def _write(target: Path, known: Mapping[str, str]) -> None:
    with atomic(target) as temporary:
        text = "".join(_line(name, digest) for name, digest in sorted(known.items()))
        # A name that is not UTF-8 is written as the bytes that it has on the disk.
        temporary.write_text(text, encoding="utf-8", errors="surrogateescape", newline="\n")


_ESCAPES = {"\\": "\\\\", "\n": "\\n", "\r": "\\r"}
_PLAIN = {escaped: plain for plain, escaped in _ESCAPES.items()}


def _line(name: str, digest: str) -> str:
    r"""Return a line of the list; a name with a line break or a backslash is escaped.

    >>> _line("a.jpg", "12"), _line("a\n.jpg", "12")
    ('12  a.jpg\n', '\\12  a\\n.jpg\n')
    """
    escaped = re.sub(r"[\\\n\r]", lambda found: _ESCAPES[found[0]], name)
    mark = "" if escaped == name else "\\"
    return f"{mark}{digest}  {escaped}\n"


def _plain(escaped: str) -> str:
    return re.sub(r"\\[\\nr]", lambda found: _PLAIN[found[0]], escaped)


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
