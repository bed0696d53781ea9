"""A picture at full size and at halves of it, as files that a window can be read from.

Each level is one plain file of 8-bit sRGB rows, so that a tile costs a read of its own window and
the server holds no picture in memory.  Level k halves k times; cell centres stay in register as in
`blendkit.filters.resample`.
"""

import errno
import hashlib
import json
import os
import re
import shutil
import sys
import tempfile
import threading
import time
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path

import cv2
import numpy as np

from blendkit.errors import InputError
from blendkit.files import raw, read_frame
from blendkit.files.orient import as_stored
from blendkit.files.read import open_picture
from blendkit.frame import Label
from blendkit.review.display import converter, encoded_for_screen

_ROWS = 256
_SMALLEST = 256
_BLOCK = 1 << 20
_FORMAT = 1
_SHARE = 0.5
"""Of what the disk has left, that pyramids take at most."""
_UNFINISHED = ".part-"
_OURS = re.compile(r"\d+\.rows|about\.json")
"""Files of a pyramid.  A folder that holds any other is the user's, whatever it is called."""
_LEFT_AFTER_S = 86_400.0
"""Age from which nobody works on an unfinished pyramid any more, s; one takes seconds."""
Size = tuple[int, int]
Box = tuple[int, int, int, int]


@dataclass(frozen=True, slots=True)
class Pyramid:
    """Levels of one picture on the disk.

    folder: holds one file a level.
    size: (width, height) of level 0, px.
    """

    folder: Path
    size: Size

    @property
    def levels(self) -> int:
        """How many levels there are."""
        return count_levels(self.size)

    def window(self, level: int, box: Box) -> Label:
        """Return the window (left, top, right, bottom) of a level, uint8 (rows, columns, 3).

        The window must lie within the level.
        """
        width, height = level_size(self.size, level)
        left, top, right, bottom = box
        shape = (height, width, 3)
        # Mapped for the one read and let go, so that no page stays counted to the server.
        stored = np.memmap(self.folder / f"{level}.rows", np.uint8, "r", shape=shape)
        return np.array(stored[top:bottom, left:right])


def count_levels(size: Size) -> int:
    """Return how many levels a picture of (width, height) px has: to 256 px and below.

    >>> count_levels((37, 21)), count_levels((8192, 5464))
    (1, 6)
    """
    levels = 1
    while max(level_size(size, levels - 1)) > _SMALLEST:
        levels += 1
    return levels


def level_size(size: Size, level: int) -> Size:
    """Return (width, height) of a level: halves, rounded up.

    >>> level_size((37, 21), 2)
    (10, 6)
    """
    return -(-size[0] >> level), -(-size[1] >> level)


class Pyramids:
    """Builds pyramids when first asked for, and keeps them for the next time."""

    def __init__(self, cache: Path | None = None, *, limit_bytes: int = 12 << 30) -> None:
        self._cache = cache or default_cache()
        self._limit_bytes = limit_bytes
        self._locks: dict[str, threading.Lock] = {}
        self._guard = threading.Lock()

    def of(self, path: Path) -> Pyramid:
        """Return the pyramid of a picture file, building it if need be.

        Raises
        ------
        InputError : the file cannot be read as a picture.
        """
        key = _key(path)
        with self._guard:
            lock = self._locks.setdefault(key, threading.Lock())
        with lock:
            known = _stored(self._cache / key)
            return known or self._build(path, self._cache / key)

    def _build(self, path: Path, folder: Path) -> Pyramid:
        folder.parent.mkdir(parents=True, exist_ok=True)
        self._make_room(folder.parent)
        unfinished = Path(tempfile.mkdtemp(prefix=_UNFINISHED, dir=folder.parent))
        try:
            size = _fill_levels(path, unfinished)
            (unfinished / "about.json").write_text(json.dumps({"size": size}), encoding="utf-8")
            _put(unfinished, folder)
        finally:
            shutil.rmtree(unfinished, ignore_errors=True)
        return Pyramid(folder, size)

    def _make_room(self, cache: Path) -> None:
        """Drop pyramids that were not looked at for longest, down to the limit.

        What a server that was killed left, half made or half removed, goes after a day.
        """
        for part in cache.iterdir():
            if _ours(part) and _left(part):
                shutil.rmtree(part, ignore_errors=True)
        found = (about for about in cache.glob("*/about.json") if _ours(about.parent))
        kept = sorted(found, key=lambda about: about.stat().st_mtime)
        sizes = [sum(part.stat().st_size for part in about.parent.iterdir()) for about in kept]
        total = sum(sizes)
        room = _SHARE * (total + shutil.disk_usage(cache).free)
        for about, size in zip(kept, sizes, strict=True):
            if total <= min(self._limit_bytes, room):
                return
            with suppress(OSError):  # goes first: what a kill leaves is no pyramid then
                about.unlink()
            shutil.rmtree(about.parent, ignore_errors=True)
            total -= size


def default_cache() -> Path:
    """Return the folder in which this user's programs keep what can be made again."""
    if sys.platform == "darwin":
        base = Path.home() / "Library" / "Caches"
    elif sys.platform == "win32":
        base = Path(os.environ.get("LOCALAPPDATA", Path.home() / "AppData" / "Local"))
    else:
        base = Path(os.environ.get("XDG_CACHE_HOME") or Path.home() / ".cache")
    return base / "blendkit" / "review"


def _key(path: Path) -> str:
    try:
        about = path.stat()
    except OSError as error:
        raise InputError(
            f"{path.name}: cannot be read ({error.strerror}); put it back and reload the page"
        ) from error
    words = f"{_FORMAT}|{path.resolve()}|{about.st_mtime_ns}|{about.st_size}"
    return hashlib.sha256(os.fsencode(words)).hexdigest()[:32]


def _ours(folder: Path) -> bool:
    """Return whether a folder is a pyramid, whole or not, and so may be removed."""
    try:
        names = [part.name for part in folder.iterdir()]
    except OSError:  # a file, or gone
        return False
    return bool(names) and all(_OURS.fullmatch(name) for name in names)


def _left(folder: Path) -> bool:
    """Return whether a folder holds no finished pyramid and nobody is at work on one."""
    try:
        age_s = time.time() - folder.stat().st_mtime
    except OSError:  # another server has finished or removed it just now
        return False
    return age_s > _LEFT_AFTER_S and not (folder / "about.json").exists()


def _put(unfinished: Path, folder: Path) -> None:
    """Move a pyramid to its place; one that another server finished there first is as good."""
    try:
        unfinished.replace(folder)
    except OSError:
        if _stored(folder) is not None:
            return
        # Its removal was cut off: rows without about.json, which no rename replaces.
        shutil.rmtree(folder, ignore_errors=True)
        unfinished.replace(folder)


def _stored(folder: Path) -> Pyramid | None:
    try:
        about = json.loads((folder / "about.json").read_text(encoding="utf-8"))
        os.utime(folder / "about.json")
        width, height = (int(side) for side in about["size"])
    except (OSError, ValueError, KeyError, TypeError):
        return None
    return Pyramid(folder, (width, height))


def _fill_levels(path: Path, folder: Path) -> Size:
    size = _fill_from_frame(path, folder) if raw.is_raw(path) else _fill_whole(path, folder)
    for level in range(1, count_levels(size)):
        _halve(folder, size, level)
    return size


def _fill_whole(path: Path, folder: Path) -> Size:
    """Write level 0 strip by strip, upright."""
    decoded = open_picture(path)
    if decoded.planar:
        return _fill_from_frame(path, folder)
    convert = converter(decoded, path.name)
    width, height = decoded.size
    size = (height, width) if decoded.orientation >= 5 else (width, height)
    stored = as_stored(_level(folder, size, 0), decoded.orientation)
    for top, left, _, codes in decoded.blocks():
        for start in range(0, len(codes), _ROWS):
            part = convert(codes[start : start + _ROWS])
            rows = slice(top + start, top + start + len(part))
            stored[rows, left : left + part.shape[1]] = part
    return size


def _fill_from_frame(path: Path, folder: Path) -> Size:
    frame = read_frame(path)
    rows = _level(folder, frame.size, 0)
    for top in range(0, frame.size[1], _ROWS):
        part = frame.pixels[top : top + _ROWS]
        rows[top : top + _ROWS] = encoded_for_screen(part, frame.embedded.icc_profile)
    return frame.size


def _halve(folder: Path, size: Size, level: int) -> None:
    """Write a level from the one below it, each cell the mean of four."""
    below = np.memmap(
        folder / f"{level - 1}.rows", np.uint8, "r", shape=(*level_size(size, level - 1)[::-1], 3)
    )
    out = _level(folder, size, level)
    for top in range(0, len(below), 2 * _ROWS):
        half = _half(below[top : top + 2 * _ROWS])
        out[top // 2 : top // 2 + len(half)] = half


def _half(part: Label) -> Label:
    height, width = part.shape[:2]
    even = cv2.copyMakeBorder(part, 0, height % 2, 0, width % 2, cv2.BORDER_REPLICATE)
    size = (even.shape[1] // 2, even.shape[0] // 2)
    return np.asarray(cv2.resize(even, size, interpolation=cv2.INTER_AREA), np.uint8)


def _level(folder: Path, size: Size, level: int) -> Label:
    shape = (*level_size(size, level)[::-1], 3)
    path = folder / f"{level}.rows"
    _reserve(path, shape[0] * shape[1] * shape[2])
    return np.memmap(path, np.uint8, "r+", shape=shape)


def _reserve(path: Path, size: int) -> None:
    """Make a file of a size, bytes, that the disk has room for.

    To write into a mapped file that has not ends the process where the disk is full.

    Raises
    ------
    OSError : there is no room.
    """
    try:
        with path.open("wb") as stream:
            if not _allocated(stream.fileno(), size):
                for start in range(0, size, _BLOCK):
                    stream.write(bytes(min(_BLOCK, size - start)))
    except OSError as error:
        raise OSError(error.errno, error.strerror, str(path)) from error


def _allocated(file: int, size: int) -> bool:
    """Give a file its room on the disk at once; False where this system cannot."""
    try:
        os.posix_fallocate(file, 0, size)
    except AttributeError:  # neither macOS nor Windows has it
        return False
    except OSError as error:
        if error.errno in (errno.EOPNOTSUPP, errno.EINVAL):  # this disk does not
            return False
        raise
    return True
