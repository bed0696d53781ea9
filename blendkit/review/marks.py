"""Marks over a picture, as pictures that are clear where nothing is marked.

They are drawn by `blendkit.report.overlays`, once over black and once over white: where both agree
the mark is solid, where they differ by all of it nothing is drawn.
"""

from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any

import numpy as np

from blendkit.files import read_labels
from blendkit.filters.resample import any_in_cells
from blendkit.frame import Bool, Label
from blendkit.merge import Merged
from blendkit.report import overlays
from blendkit.report.screen import Picture, screen_size
from blendkit.review.pictures import Tiled
from blendkit.review.pyramid import Pyramids, level_size
from blendkit.review.zones import zones_of

LABELS = {
    "flags": "findings",
    "sources": "where pixels come from",
    "blur": "who is softer",
    "zones": "zones",
    "clipped": "clipped light",
}
Draw = Callable[[Picture], Picture]
_CLIPPED_CODE = 254
_ROWS = 512


def as_png(draw: Draw, size: tuple[int, int]) -> bytes:
    """Return what `draw` puts over a picture of (width, height) px, as PNG with transparency."""
    import imagecodecs  # noqa: PLC0415 - loaded when a mark is shown

    shape = (size[1], size[0], 3)
    over_black = draw(np.zeros(shape, np.uint8)).astype(np.float32)
    over_white = draw(np.full(shape, 255, np.uint8)).astype(np.float32)
    cover = 1 - (over_white - over_black).mean(axis=2) / 255
    color = over_black / np.maximum(cover, 1 / 255)[..., None]
    rgba = np.dstack([np.clip(color, 0, 255), np.clip(cover, 0, 1) * 255])
    return bytes(imagecodecs.png_encode(np.rint(rgba).astype(np.uint8)))


def flags_mark(path: Path, report: Mapping[str, Any], size: tuple[int, int]) -> bytes:
    """Return the flags of a result, from its label picture."""
    labels = thinned(read_labels(path), max(size), loudest=True)
    severities = {int(flag["id"]): flag["severity"] for flag in report.get("flags", [])}
    small = screen_size(size)
    return as_png(lambda picture: overlays.flags_picture(picture, labels, severities), small)


def sources_mark(path: Path, size: tuple[int, int]) -> bytes:
    """Return the source map of a result, from its label picture."""
    sources = thinned(read_labels(path), max(size), loudest=False)
    small = screen_size(size)
    return as_png(lambda picture: overlays.sources_picture(picture, sources), small)


def blur_mark(merged: Merged, size: tuple[int, int]) -> bytes:
    """Return which frame is softer, and by how much."""
    blur = merged.blur
    scale = max(size) / max(merged.pixels.shape)
    return as_png(
        lambda picture: overlays.blur_picture(picture, blur.disc_px * scale, blur.confidence),
        screen_size(size),
    )


def zones_mark(merged: Merged, size: tuple[int, int]) -> bytes:
    """Return the zones that a click takes."""
    zones = zones_of(merged)
    return as_png(lambda picture: overlays.zones_picture(picture, zones), screen_size(size))


def clipped_mark(pyramids: Pyramids, background: Tiled, foreground: Tiled) -> bytes:
    """Return what is clipped in either frame, as the screen shows it."""
    size = background.size
    first, second = (
        clipped_cells(pyramids, one, screen_size(size)) for one in (background, foreground)
    )
    return as_png(
        lambda picture: overlays.clipped_picture(picture, first, second), screen_size(size)
    )


def clipped_cells(pyramids: Pyramids, picture: Tiled, small: tuple[int, int]) -> Bool:
    """Return which cells of a small version hold a pixel that is clipped, bool (height, width)."""
    import cv2  # noqa: PLC0415 - for the one step

    pyramid = pyramids.of(picture.path)
    width, height = level_size(pyramid.size, 0)
    factor = max(-(-max(pyramid.size) // max(small)), 1)
    strips = []
    step = factor * max(_ROWS // factor, 1)
    for top in range(0, height, step):
        rows = pyramid.window(0, (0, top, width, min(top + step, height)))
        strips.append(any_in_cells(rows.max(axis=2) >= _CLIPPED_CODE, factor))
    cells = np.concatenate(strips).astype(np.uint8)
    scale = np.diag([1 / factor, 1 / factor, 1.0])
    back = np.diag([max(picture.size) / max(small)] * 2 + [1.0])
    matrix = np.eye(3) if picture.matrix is None else picture.matrix
    warped = cv2.warpPerspective(
        cells, scale @ matrix @ back, small, flags=cv2.INTER_NEAREST | cv2.WARP_INVERSE_MAP
    )
    return np.asarray(warped > 0, np.bool_)


def thinned(labels: Label, long_side: int, *, loudest: bool) -> Label:
    """Return a label picture thinned to screen size; small flags are kept, the louder wins."""
    factor = max(long_side // max(screen_size((long_side, 1))), 1)
    if factor == 1:
        return labels
    if not loudest:
        return np.ascontiguousarray(labels[factor // 2 :: factor, factor // 2 :: factor])
    height, width = labels.shape
    padded = np.pad(
        labels - np.uint8(1), ((0, -height % factor), (0, -width % factor)), mode="edge"
    )
    cells = padded.reshape(padded.shape[0] // factor, factor, -1, factor)
    return np.asarray(cells.min(axis=(1, 3)) + np.uint8(1), np.uint8)
