"""The places of a finding, one by one: boughs that nobody could place lie all over a picture."""

from functools import lru_cache
from pathlib import Path

import cv2
import numpy as np

from blendkit.errors import BlendkitError
from blendkit.files import read_labels
from blendkit.review.marks import thinned

MOST_SPOTS = 12
_JOINED = 0.02
"""Pieces nearer to each other than this, of the long side, are one place to look at."""

Box = tuple[int, int, int, int]


def spots_of(path: Path, size: tuple[int, int]) -> dict[int, list[Box]]:
    """Return the boxes (x, y, width, height) px of each flag's places, the largest place first.

    path: the picture of flags; size: (width, height) of the full picture, px.
    """
    try:
        return _spots(path, path.stat().st_mtime_ns, size)
    except (OSError, BlendkitError):  # gone or damaged: the flags' boxes say where
        return {}


@lru_cache(maxsize=64)
def _spots(path: Path, _changed_ns: int, size: tuple[int, int]) -> dict[int, list[Box]]:
    labels = thinned(read_labels(path), max(size), loudest=True)
    scale = max(size) / max(labels.shape)
    reach = 2 * round(_JOINED * max(labels.shape) / 2) + 1
    found = {}
    for number in np.unique(labels[labels > 0]):
        here = (labels == number).astype(np.uint8)
        _, pieces = cv2.connectedComponents(cv2.dilate(here, np.ones((reach, reach), np.uint8)))
        pieces[here == 0] = 0  # joined by what lies between them, but boxed without it
        found[int(number)] = _boxes(pieces, scale)
    return found


def _boxes(pieces: np.ndarray, scale: float) -> list[Box]:
    areas = np.bincount(pieces.ravel())
    areas[0] = 0
    order = [int(k) for k in np.argsort(-areas, kind="stable")[:MOST_SPOTS] if areas[k]]
    boxes = []
    for number in order:
        rows, columns = np.nonzero(pieces == number)
        x, y = columns.min(), rows.min()
        edges = x, y, columns.max() + 1 - x, rows.max() + 1 - y
        left, top, width, height = (round(float(edge) * scale) for edge in edges)
        boxes.append((left, top, width, height))
    return boxes
