"""RAWs that lie beside rendered files of the same frame."""

from collections.abc import Sequence
from pathlib import Path

from blendkit.errors import InputError
from blendkit.files import exif
from blendkit.files.exif_raw import directory_of_raw
from blendkit.files.raw import available, is_raw
from blendkit.files.read import open_picture

_RENDERED = frozenset((".jpg", ".jpeg", ".tif", ".tiff", ".png"))


def prefer_raws(paths: Sequence[Path]) -> tuple[tuple[Path, ...], tuple[str, ...]]:
    """Return RAWs in the place of rendered files if every one of them has its RAW beside it.

    A pair of one RAW and one rendered file would be worse than two rendered ones: a rendered file
    has a tone curve that the other has not.  So all change or none.

    Returns
    -------
    paths : the files to read.
    notes : one sentence for each file that was replaced.
    """
    if not available():  # asked first: what follows reads a RAW's Exif by the same extra
        return tuple(paths), ()
    found = [path if is_raw(path) else _raw_beside(path) for path in paths]
    if any(path is None for path in found):
        return tuple(paths), ()
    chosen = tuple(path for path in found if path is not None)
    notes = tuple(
        f"{old.name}: {new.name} lies beside it and was read instead"
        for old, new in zip(paths, chosen, strict=True)
        if old != new
    )
    return chosen, notes


def as_the_pair(path: Path, frame: Path) -> Path:
    """Return a further frame's RAW, if it has one, where a pair's own frame is a RAW.

    Its light is compared with the pair's, and a rendered file has a tone curve.
    """
    return prefer_raws((path,))[0][0] if is_raw(frame) else path


def _raw_beside(path: Path) -> Path | None:
    if path.suffix.lower() not in _RENDERED:
        return None
    try:
        lying = list(path.parent.iterdir())
    except OSError:  # no such folder, or one that does not tell what is in it
        return None
    beside = sorted(other for other in lying if other.stem == path.stem and is_raw(other))
    return beside[0] if beside and _same_moment(path, beside[0]) else None


def _same_moment(rendered: Path, raw: Path) -> bool:
    """Return whether both record the same second, or one of them records none."""
    try:
        first = exif.capture_of(open_picture(rendered).directory).captured_at
    except InputError:
        return False
    second = exif.capture_of(directory_of_raw(raw)[0]).captured_at
    if first is None or second is None:
        return True
    return first.replace(tzinfo=None, microsecond=0) == second.replace(tzinfo=None, microsecond=0)
