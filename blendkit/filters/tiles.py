"""Tiles: what a picture is worked on in where only parts of it need work.

The grid hangs on the picture, not on the machine, so any number of threads gives the same bytes.
"""

from collections.abc import Iterator

Window = tuple[slice, slice]
"""Rows and columns of a part of a picture."""


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
            near = (
                slice(max(top - margin_px, 0), min(bottom + margin_px, height)),
                slice(max(left - margin_px, 0), min(right + margin_px, width)),
            )
            yield (slice(top, bottom), slice(left, right)), near


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
