"""Files that appear whole or not at all, and never in the place of an input.

A result is written to a temporary name beside its target, flushed to the disk and renamed.  The
temporary name holds the number of the process that writes it, so that what a killed process left
can be told from what another is writing.
"""

import errno
import os
import tempfile
from collections.abc import Iterable, Iterator, Sequence
from contextlib import contextmanager, suppress
from pathlib import Path

from blendkit.errors import OutputError
from blendkit.files.signals import held_off
from blendkit.files.there import same_file

_NEXT_STEPS = {
    errno.ENOSPC: "the disk is full: free some space or choose another folder",
    errno.EDQUOT: "the disk quota is used up: free some space or choose another folder",
    errno.EACCES: "the folder cannot be written: choose another one or change its permissions",
    errno.EPERM: "the folder cannot be written: choose another one or change its permissions",
    errno.EROFS: "the disk is read-only: choose another folder",
    errno.ENOENT: "the folder does not exist: create it or choose another one",
    errno.ENOTDIR: "the folder does not exist: create it or choose another one",
    errno.EISDIR: "this is a folder: name a file in it",
    errno.ENAMETOOLONG: "the name is too long: choose a shorter one",
    errno.EFBIG: "the file grows larger than this disk allows: choose another folder",
}


_LONGEST_NAME = 255
"""Bytes of a file's name that every disk in use takes (common practice, no source)."""


def check_output(path: Path | str, inputs: Iterable[Path | str] = ()) -> None:
    """Raise OutputError, before any work, if a file cannot be written to `path`.

    The folder must exist and be writable, and `path` must not be one of the inputs, not even
    by way of a link.
    """
    target = Path(path)
    check_name(target, inputs)
    place = _followed(target)
    with _naming(target):
        is_folder, has_folder = place.is_dir(), place.parent.is_dir()
    if is_folder:
        raise OutputError(f"{target}: {_NEXT_STEPS[errno.EISDIR]}")
    if not has_folder:
        raise OutputError(f"{target}: {_NEXT_STEPS[errno.ENOENT]}")
    if not os.access(place.parent, os.W_OK | os.X_OK):
        raise OutputError(f"{target}: {_NEXT_STEPS[errno.EACCES]}")


def _followed(target: Path) -> Path:
    """Return where a file is to be written: a link stays, and what it leads to is replaced."""
    try:
        return target.resolve() if target.is_symlink() else target
    except (OSError, RuntimeError):  # a circle of links
        return target


def check_name(target: Path, inputs: Iterable[Path | str] = ()) -> None:
    """Raise OutputError for a name that is too long or an input's; its folder need not be there."""
    if len(os.fsencode(target.name)) > _LONGEST_NAME:
        raise OutputError(f"{target}: {_NEXT_STEPS[errno.ENAMETOOLONG]}")
    for source in inputs:
        if _same_file(target, Path(source)):
            raise OutputError(f"{target}: names the input {source}; choose another output name")


def make_folder(folder: Path) -> None:
    """Make a folder, and those that it lies in, if it is not there; OutputError if it cannot be."""
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise OutputError(
            f"{folder}: the folder cannot be made ({error.strerror}); choose another place"
        ) from error


def _same_file(target: Path, source: Path) -> bool:
    try:
        return target.resolve() == source.resolve() or same_file(target, source)
    except (OSError, RuntimeError):
        return False


@contextmanager
def atomic(path: Path | str, inputs: Iterable[Path | str] = ()) -> Iterator[Path]:
    """Give a temporary path beside `path`; rename it there when the block ends well.

    Parameters
    ----------
    path : where the file shall be; of a link, what it leads to is replaced.
    inputs : files that it must not replace.

    Yields
    ------
    Path : an empty file in the folder where it shall be, with its suffix; removed if the block
        raises.

    Raises
    ------
    OutputError : missing folder, no permission, full disk, or an input named as output.
    """
    target = Path(path)
    with atomic_set([target], inputs) as (temporary,), _naming(target):
        yield temporary


@contextmanager
def atomic_set(
    paths: Sequence[Path], inputs: Iterable[Path | str] = ()
) -> Iterator[tuple[Path, ...]]:
    """Give temporary paths for files that belong together; rename all when the block ends well.

    All are flushed to the disk before the first is renamed, which for a large one takes seconds;
    the renames follow each other at once, and Ctrl-C waits for them: else new files would lie
    beside old ones.  The first path is renamed last: where it is, the others are.

    Parameters
    ----------
    paths : where the files shall be.
    inputs : files that none of them must replace.

    Yields
    ------
    tuple of Path : empty files, as from `atomic`, all removed if the block raises.

    Raises
    ------
    OutputError : as from `atomic`.
    """
    sources = list(inputs)
    for target in paths:
        check_output(target, sources)
    made: list[Path] = []
    places = [_followed(target) for target in paths]
    try:
        for target, place in zip(paths, places, strict=True):
            with _naming(target):
                made.append(_temporary_beside(place))
        yield tuple(made)
        for target, temporary in zip(paths, made, strict=True):
            with _naming(target):
                _flush(temporary)
        with held_off():
            for target, place, temporary in reversed(list(zip(paths, places, made, strict=True))):
                with _naming(target):
                    temporary.replace(place)
    except BaseException:
        for temporary in made:
            with suppress(OSError):
                temporary.unlink()
        raise
    for folder in {place.parent for place in places}:
        _flush_folder(folder)


@contextmanager
def _naming(target: Path) -> Iterator[None]:
    """Turn what the system complains about into a sentence that names the file asked for."""
    try:
        yield
    except OSError as error:
        raise OutputError(f"{target}: {explain(error)}") from error


def explain(error: OSError) -> str:
    """Return what an operating-system error means for the user, with the next step."""
    reason = error.strerror or str(error) or type(error).__name__
    return _NEXT_STEPS.get(error.errno or 0, f"cannot be written ({reason}): choose another place")


def _temporary_beside(target: Path) -> Path:
    handle, name = tempfile.mkstemp(
        prefix=f".{target.stem[:40]}.{os.getpid()}.",
        suffix=f".part{target.suffix}",
        dir=target.parent,
    )
    os.close(handle)
    temporary = Path(name)
    mask = os.umask(0)
    os.umask(mask)
    temporary.chmod(0o666 & ~mask)
    return temporary


def _flush(path: Path) -> None:
    with path.open("rb+") as stream:
        os.fsync(stream.fileno())


def _flush_folder(folder: Path) -> None:
    # Without it the rename itself may be lost on power failure; Windows has no such call.
    with suppress(OSError):
        handle = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)
