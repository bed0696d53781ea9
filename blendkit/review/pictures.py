"""The pictures of a pair, each under an id that says nothing about where it lies."""

import hashlib
import os
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from blendkit.files.capture import read_capture
from blendkit.frame import Label, Matrix
from blendkit.report.asked import asked_from
from blendkit.review.folder import PairFiles, stamp_of
from blendkit.review.pyramid import Pyramids, count_levels
from blendkit.review.tiles import OVERLAP_PX, TILE_PX, Placed, as_jpeg

LABELS = {
    "background": "Background frame",
    "foreground": "Foreground frame",
    "taken": "Foreground frame as taken",
    "result": "Result",
    "plate": "Plate",
    "matte": "Matte",
    "preview": "Preview",
    "preview-plate": "Preview of the plate",
    "preview-matte": "Preview of the matte",
    "repair": "Repair on trial",
}


@dataclass(frozen=True, eq=False, slots=True)
class Tiled:
    """A picture file that is shown in tiles on the background frame's grid.

    size: (width, height) of that grid, px.  matrix: background px to px of the file.
    """

    id: str
    kind: str
    note: str
    path: Path
    size: tuple[int, int]
    stamp: tuple[int, int] | None
    matrix: Matrix | None = None

    def tile(self, pyramids: Pyramids, level: int, column: int, row: int) -> bytes | None:
        """Return a tile as JPEG; None if there is no such tile, or another picture by now."""
        if stamp_of(self.path) != self.stamp:
            return None
        pixels = Placed(pyramids.of(self.path), self.size, self.matrix).tile(level, column, row)
        return None if pixels is None else as_jpeg(pixels)

    def document(self) -> dict[str, Any]:
        """Return what the page needs to know."""
        return _document(self.id, self.kind, self.note, self.size, count_levels(self.size))


@dataclass(frozen=True, eq=False, slots=True)
class Whole:
    """A picture that is sent in one piece; size: (width, height) of the background frame, px."""

    id: str
    kind: str
    note: str
    size: tuple[int, int]
    jpeg: bytes

    def document(self) -> dict[str, Any]:
        """Return what the page needs to know."""
        return _document(self.id, self.kind, self.note, self.size, 0)


def _document(id_: str, kind: str, note: str, size: tuple[int, int], levels: int) -> dict[str, Any]:
    return {
        "id": id_,
        "kind": kind,
        "label": LABELS[kind],
        "note": note,
        "size": list(size),
        "levels": levels,
        "tile_px": TILE_PX,
        "overlap_px": OVERLAP_PX,
    }


def file_pictures(
    pair: str, files: PairFiles, report: Mapping[str, Any] | None
) -> tuple[list[Tiled], tuple[int, int]]:
    """Return the pictures of a pair that are files, and the background frame's size.

    Raises
    ------
    InputError : a frame that cannot be read.
    """
    first, size = read_capture(files.background)
    second, _ = read_capture(files.foreground)
    matrix = matrix_of(report)
    found = [
        _tiled(pair, "background", files.background, size, note=first.exposure),
        _tiled(
            pair,
            "foreground",
            files.foreground,
            size,
            note=second.exposure,
            matrix=matrix,
        ),
        _tiled(pair, "taken", files.foreground, size, note=second.exposure),
    ]
    beside = {"result": files.result}
    if asked_from(report or {}).layers:  # others are of another result than this
        for kind in ("plate", "matte"):
            beside[kind] = files.result.with_name(f"{files.result.stem}.{kind}.tif")
    found += [_tiled(pair, kind, path, size) for kind, path in beside.items() if path.is_file()]
    return found, size


def matrix_of(report: Mapping[str, Any] | None) -> Matrix | None:
    """Return the alignment of a report, background px to foreground px; None if it has none."""
    alignment = (report or {}).get("alignment") or {}
    try:
        matrix = np.asarray(alignment["matrix"], np.float64)
    except (KeyError, TypeError, ValueError):
        return None
    return matrix if matrix.shape == (3, 3) and np.isfinite(matrix).all() else None


def _tiled(
    pair: str,
    kind: str,
    path: Path,
    size: tuple[int, int],
    *,
    note: str = "",
    matrix: Matrix | None = None,
) -> Tiled:
    stamp = stamp_of(path)
    words = f"{path}|{stamp}|{kind}|{matrix}"
    version = hashlib.sha256(os.fsencode(words)).hexdigest()[:10]
    return Tiled(f"{pair}-{kind}-{version}", kind, note, path, size, stamp, matrix)


def whole(pair: str, kind: str, version: int, pixels: Label, size: tuple[int, int]) -> Whole:
    """Return a picture in one piece, from sRGB pixels."""
    return Whole(f"{pair}-{kind}-v{version}", kind, "at screen size", size, as_jpeg(pixels))
