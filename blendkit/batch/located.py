"""Where the files that a report names lie now: folders move, results are called like frames."""

from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Any

from blendkit.batch.folder import is_result
from blendkit.errors import InputError
from blendkit.files.checksums import sha256
from blendkit.files.there import is_file, same_file
from blendkit.sidecar import ENDING, read_sidecar

_FRAMES = ("background", "foreground", "clear", "bridge")


def own_result(document: dict[str, Any], report: Path) -> Path:
    """Return where the result lies that a report is of: beside it, also in a copied folder."""
    output = document.get("output") or {}
    stem = report.name.removesuffix(".json").removesuffix(".report")
    return report.with_name(Path(str(output.get("path") or stem)).name)


def places(
    named: Path, role: str, report: Path, own: Path, folders: Sequence[Path]
) -> Iterator[Path]:
    """Yield where a file of a report may lie, the likeliest first, as far as a file is there.

    A batch calls a result after its background frame, so what bears the right name beside a report
    is as likely the result.  No result is taken for a frame but one that the report names itself.

    Parameters
    ----------
    named : as the report names it.
    role : as the report names it.
    report : the report.
    own : its result, which is none of its files whatever it is called.
    folders : where else to look.  Cameras count from one on every card: of several files of the
        name that one is meant which lies in a folder called as before, else none.
    """

    def fits(guess: Path) -> bool:
        if not is_file(guess) or same_file(guess, own):
            return False
        return role not in _FRAMES or not is_result(guess)

    if named.is_absolute() and is_file(named) and not same_file(named, own):
        yield named
    yield from filter(fits, _by_sidecar(named, role, report))
    yield from _meant(list(filter(fits, _inside(folders, named))), named)


def _meant(found: list[Path], named: Path) -> list[Path]:
    """Return the file that a name means, alone; none where two are as likely."""
    at_home = [path for path in found if path.parent.resolve().name == named.parent.name]
    likely = at_home or found
    return likely[:1] if all(_one_picture(likely[0], other) for other in likely[1:]) else []


def _one_picture(one: Path, other: Path) -> bool:
    """Return whether two files are one, or copies."""
    try:
        alike = one.stat().st_size == other.stat().st_size
        return one.samefile(other) or (alike and sha256(one) == sha256(other))
    except OSError:
        return False


def _by_sidecar(named: Path, role: str, report: Path) -> Iterator[Path]:
    """Yield where the sidecar, which names files from where it lies, has the file of a role.

    It may name the rendered file where the RAW beside it was merged.
    """
    stem = report.name.removesuffix(".json").removesuffix(".report")
    try:
        known = read_sidecar(report.with_name(stem + ENDING)).inputs.get(role)
    except InputError:
        return
    if known:
        file = report.parent / known
        yield file.with_name(named.name)
        yield file


def _inside(folders: Sequence[Path], named: Path) -> Iterator[Path]:
    for folder in folders:
        if not named.is_absolute():
            yield folder / named
        yield folder / named.name
