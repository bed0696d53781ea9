"""The frames in a folder: every picture once, our own results never."""

import json
import re
from collections.abc import Iterator
from datetime import datetime
from pathlib import Path

from blendkit.errors import InputError
from blendkit.files import raw
from blendkit.files.capture import read_capture
from blendkit.files.mark import is_marked

RENDERED = (".tif", ".tiff", ".png", ".jpg", ".jpeg")
"""Suffixes of rendered pictures, the best first: of two renderings of one frame it is taken."""

RECORDS = ".blendkit"
"""Folder inside an output folder that holds what a batch remembers."""

_OURS = re.compile(
    r"\.(flags|sources|preview|layers|matte|plate|foreground)\.(png|tiff?|jpg)$", re.IGNORECASE
)


def find_frames(folder: Path) -> tuple[list[Path], list[str]]:
    """Return the frames below a folder in the order of their names, and notes.

    A RAW and its rendered file count once, unless they record two moments: the rendered file stands
    for both, and the merge reads the RAWs where both frames of a pair have one.  What a merge has
    written, layers and copies too, is passed over, and so are hidden folders and those further down
    that a batch wrote to.

    Raises
    ------
    InputError : no such folder, or no picture in it.
    """
    if not folder.is_dir():
        raise InputError(f"{folder}: is not a folder; name the folder that holds the frames")
    by_frame: dict[tuple[Path, str], list[Path]] = {}
    for path in _pictures(folder, set()):
        by_frame.setdefault((path.parent, path.stem.lower()), []).append(path)
    if not by_frame:
        raise InputError(f"{folder}: holds no picture; name the folder that holds the frames")
    frames: list[Path] = []
    notes = []
    for files in by_frame.values():
        files.sort(key=rank)
        for first, *others in _by_moment(files):
            frames.append(first)
            if others:
                names = " and ".join(path.name for path in others)
                notes.append(f"{first.name}: counts once together with {names}")
    return sorted(frames, key=natural_order), notes


def _by_moment(files: list[Path]) -> Iterator[list[Path]]:
    """Yield files of one name by the moment that they record; one that records none is any's."""
    while files:
        moment = _moment(files[0]) if len(files) > 1 else None
        same = [
            path
            for path in files
            if moment is None or path is files[0] or _moment(path) in (None, moment)
        ]
        yield same
        files = [path for path in files if path not in same]


def _moment(path: Path) -> datetime | None:
    """Return when a picture was taken, to the second; None where it does not say."""
    try:
        moment = read_capture(path)[0].captured_at
    except InputError:
        return None
    return None if moment is None else moment.replace(microsecond=0, tzinfo=None)


def natural_order(path: Path) -> tuple[str, tuple[tuple[int, str], ...]]:
    """Return a key that sorts IMG_9 before IMG_10.

    Examples
    --------
    >>> sorted([Path("a/P10.tif"), Path("a/P9.tif")], key=natural_order)[0].name
    'P9.tif'
    """
    parts = re.findall(r"\d+|\D+", path.stem.lower())
    key = tuple((int(part), "") if part.isdecimal() else (-1, part) for part in parts)
    return str(path.parent), key


def _pictures(folder: Path, seen: set[Path]) -> Iterator[Path]:
    """Yield the pictures below a folder; seen: folders that were visited, by whatever link."""
    if folder.resolve() in seen:
        return
    named = not seen  # a batch may have written among the frames themselves
    seen.add(folder.resolve())
    try:
        entries = sorted(folder.iterdir())
    except OSError as error:
        raise InputError(
            f"{folder}: cannot be read ({error.strerror}); check its permissions"
        ) from error
    if not named and any(entry.name == RECORDS for entry in entries):
        return
    for path in entries:
        if path.name.startswith("."):
            continue
        if path.is_dir():
            yield from _pictures(path, seen)
        elif _is_picture(path) and not is_result(path):
            yield path


def _is_picture(path: Path) -> bool:
    return path.suffix.lower() in RENDERED or raw.is_raw(path)


def is_result(path: Path) -> bool:
    """Return whether a picture is one of our own results, its layers or its copies.

    By the report beside it, or by what it carries, wherever it lies.
    """
    report = path.with_suffix(".report.json")
    if report.exists() and named_by(report) in (path.name, None):
        return True
    stem = _OURS.sub("", path.name)
    if stem != path.name and path.with_name(f"{stem}.report.json").exists():
        return True
    return is_marked(path) or (stem != path.name and _beside_result(path, stem))


def _beside_result(layer: Path, stem: str) -> bool:
    """Return whether the result lies there to which a layer, by its name, would belong.

    Layers of earlier versions carry no mark of their own.
    """
    results = (layer.with_name(stem + suffix) for suffix in RENDERED)
    return any(is_marked(result) for result in results if result.is_file())


def named_by(report: Path) -> str | None:
    """Return the name of the result that a report is of, empty for one of a refused merge.

    None where it does not say.
    """
    try:
        output = json.loads(report.read_text(encoding="utf-8"))["output"]
        return "" if output is None else Path(output["path"]).name
    except (OSError, ValueError, KeyError, TypeError):
        return None


def rank(path: Path) -> int:
    """Return a number that is lower for the better one of two renderings of one frame."""
    suffix = path.suffix.lower()
    return RENDERED.index(suffix) if suffix in RENDERED else len(RENDERED)
