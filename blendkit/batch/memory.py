"""How much memory a merge needs, and how many fit.

Measured by tests/bench/batch_load.py while one pair is read, merged and written, nothing painted,
one thread: 0.42 GB at 600 x 400 px, 1.08 GB at 3000 x 2000 px, with a bridge and a clear frame
1.34 GB, so 160 bytes a px.  The estimate adds some 40 %, for layers, masks and a lender's frames.
"""

import os
import re
import threading
from collections.abc import Iterator
from contextlib import contextmanager

import psutil

from blendkit.errors import InputError

BASE_BYTES = 500 * 2**20
BYTES_PER_PX = 220
"""Peak of one merge = BASE_BYTES + BYTES_PER_PX x width x height; see the module."""

PARENT_BYTES = 400 * 2**20
"""What the process that hands out the work needs itself."""

_UNITS = {"": 1, "k": 10**3, "m": 10**6, "g": 10**9, "t": 10**12}
_UNITS |= {f"{letter}i": 2 ** (10 * power) for power, letter in enumerate("kmgt", start=1)}


class Budget:
    """Memory that threads share: each waits until what it needs is free.

    limit_bytes : of all; who needs more than that runs alone.
    """

    def __init__(self, limit_bytes: int) -> None:
        self._limit = self._free = limit_bytes
        self._changed = threading.Condition()

    @contextmanager
    def of(self, need_bytes: int) -> Iterator[None]:
        """Take some of it for a while."""
        need = min(need_bytes, self._limit)
        with self._changed:
            self._changed.wait_for(lambda: self._free >= need)
            self._free -= need
        try:
            yield
        finally:
            with self._changed:
                self._free += need
                self._changed.notify_all()


def estimated_bytes(size: tuple[int, int]) -> int:
    """Return the memory that merging a pair of (width, height) px may need.

    Examples
    --------
    >>> round(estimated_bytes((6000, 4000)) / 1e9, 1)
    5.8
    """
    return BASE_BYTES + BYTES_PER_PX * size[0] * size[1]


def parse_bytes(text: str) -> int:
    """Return a size such as "12GB", "1.5 GiB" or "800M" in bytes.

    Examples
    --------
    >>> parse_bytes("12GB"), parse_bytes("1.5 GiB")
    (12000000000, 1610612736)

    Raises
    ------
    InputError : it is no size.
    """
    found = re.fullmatch(r"\s*([\d.]+)\s*([kmgt]i?)?b?\s*", text.lower())
    try:
        value = float(found[1]) * _UNITS[found[2] or ""] if found else 0.0
    except ValueError:
        value = 0.0
    if value < 2**20:
        raise InputError(f"--memory {text}: give a size such as 12GB, 1 MiB at least")
    return int(value)


def available_bytes() -> int:
    """Return four fifths of the memory that is free now: the rest is left to others."""
    return int(0.8 * psutil.virtual_memory().available)


def processes_for(needs: list[int], limit: int, *, asked: int | None = None) -> int:
    """Return how many processes to start: no more than processors, pairs and memory allow.

    needs : bytes each pair may need; limit : bytes for all processes together.

    Examples
    --------
    >>> processes_for([2_000_000_000] * 9, 6_500_000_000, asked=8)
    3
    """
    most = asked or os.cpu_count() or 1
    room = limit - PARENT_BYTES
    fit = [need for need in needs if need <= room]
    by_memory = room // min(fit) if fit else 1
    return max(1, min(most, len(needs), int(by_memory)))
