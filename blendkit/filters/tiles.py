"""Tiles: what a picture is worked on in where only parts of it need work.

The grid hangs on the picture, not on the machine, so any number of threads gives the same bytes.
"""

from collections.abc import Iterator

import numpy as np

from blendkit.frame import Bool

Window = tuple[slice, slice]
"""Rows and columns of a part of a picture."""


def whole(shape: tuple[int, ...]) -> Window:
    """Return the window that is the whole of a picture.

    >>> whole((4, 7, 3))
    (slice(0, 4, None), slice(0, 7, None))
    """
    return slice(0, shape[0]), slice(0, shape[1])


def tiles(shape: tuple[int, ...], side_px: int, margin_px: int) -> Iterator[tuple[Window, Window]]:
    """Yield tiles that cover a picture once, each also with a margin as far as the picture goes.

    Examples
    --------
    >>> list(tiles((4, 7), 4, 1))[1]
    ((slice(0, 4, None), slice(4, 7, None)), (slice(0, 4, None), slice(3, 7, None)))
    """
    height, width = shape[:2]
    for top in range(0, height, side_px):
        for left in range(0, width, side_px):
            bottom, right = min(top + side_px, height), min(left + side_px, width)
            own = slice(top, bottom), slice(left, right)
            yield own, with_margin(own, margin_px, shape)


def boxes(wanted: Bool, side_px: int, margin_px: int) -> Iterator[tuple[Window, Window]]:
    """Yield the box around what is wanted in each tile, also with a margin; none where nothing is.

    Examples
    --------
    >>> spot = np.zeros((8, 8), bool)
    >>> spot[5, 6] = True
    >>> list(boxes(spot, 4, 1))
    [((slice(5, 6, None), slice(6, 7, None)), (slice(4, 7, None), slice(5, 8, None)))]
    """
    for own, _ in tiles(wanted.shape, side_px, 0):
        part = wanted[own]
        if not part.any():
            continue
        down, across = (np.flatnonzero(part.any(axis=axis)) for axis in (1, 0))
        (top, left) = own[0].start, own[1].start
        box = (
            slice(int(top + down[0]), int(top + down[-1] + 1)),
            slice(int(left + across[0]), int(left + across[-1] + 1)),
        )
        yield box, with_margin(box, margin_px, wanted.shape)


def with_margin(own: Window, margin_px: int, shape: tuple[int, ...]) -> Window:
    """Return a window grown by a margin as far as the picture goes."""
    rows, columns = (
        slice(max(part.start - margin_px, 0), min(part.stop + margin_px, size))
        for part, size in zip(own, shape[:2], strict=True)
    )
    return rows, columns


def tile_side(about_px: int, factor: int) -> int:
    """Return the side of a tile that holds whole cells of a picture reduced by a factor.

    >>> tile_side(384, 20), tile_side(384, 1), tile_side(384, 500)
    (380, 384, 500)
    """
    return max(about_px // factor, 1) * factor


def inside(own: Window, near: Window) -> Window:
    """Return a tile in px of its surroundings.

    >>> inside((slice(4, 8), slice(4, 7)), (slice(3, 9), slice(3, 7)))
    (slice(1, 5, None), slice(1, 4, None))
    """
    rows, columns = (
        slice(a.start - b.start, a.stop - b.start) for a, b in zip(own, near, strict=True)
    )
    return rows, columns
