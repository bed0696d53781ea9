"""Flags as numbers: which flag stands where."""

from collections.abc import Sequence

import numpy as np

from blendkit.frame import Bool, Label
from blendkit.midground import LOUDNESS, Flag

LARGEST_ID = 255
"""An 8-bit label picture holds no more; the quietest flags beyond it have no label."""


def numbered(flags: Sequence[Flag]) -> tuple[tuple[int, Flag], ...]:
    """Return flags with their ids, 1 for the loudest; equally loud ones keep their order."""
    ordered = sorted(flags, key=lambda flag: -LOUDNESS[flag.severity])
    return tuple(enumerate(ordered, start=1))


def flag_labels(flags: Sequence[Flag], size: tuple[int, int]) -> Label:
    """Return the id of the flag at every pixel.

    Parameters
    ----------
    flags : of one merge, regions bool (height, width).
    size : (width, height), px.

    Returns
    -------
    uint8 (height, width), 0 = none; where flags overlap the louder wins, and of two equally loud
    ones the smaller, which the larger would hide.
    """
    labels = np.zeros((size[1], size[0]), np.uint8)
    drawn = [(number, flag) for number, flag in numbered(flags) if number <= LARGEST_ID]
    for number, flag in sorted(drawn, key=_quiet_and_large_first):
        labels[flag.region] = number
    return labels


def _quiet_and_large_first(item: tuple[int, Flag]) -> tuple[int, int]:
    return LOUDNESS[item[1].severity], -int(np.count_nonzero(item[1].region))


def box_of(region: Bool) -> list[int] | None:
    """Return [x, y, width, height] of the smallest box around a region, px; None if it is empty.

    Examples
    --------
    >>> region = np.zeros((6, 8), bool)
    >>> region[2:4, 3:8] = True
    >>> box_of(region)
    [3, 2, 5, 2]
    """
    columns, rows = np.flatnonzero(region.any(axis=0)), np.flatnonzero(region.any(axis=1))
    if not columns.size:
        return None
    x, y = int(columns[0]), int(rows[0])
    return [x, y, int(columns[-1]) - x + 1, int(rows[-1]) - y + 1]
