"""Memory of large pictures: taken where something is written, given back when it is freed.

The C library keeps what tiles have freed for the next request; on glibc a merge at 24 megapixels
so held 0.4 GiB that nothing used.
"""

import ctypes
import math
import mmap
import sys
from collections.abc import Callable
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

_M_TRIM_THRESHOLD, _M_MMAP_THRESHOLD = -1, -3
"""Of mallopt(3)."""
_WORTH_GIVING_BACK = 768 << 20
"""Bytes that the process holds from which freed memory is worth its way back: the next request
fetches it page by page, up to a fifth of the time of a merge at 1200 px."""
_LARGE_BLOCK = 8 << 20
"""From here on the C library asks the system; left alone it raises this to 32 MiB, and what tiles
free stays.  Costs some 3 % of the time at 24 megapixels, saves 2 % of the memory."""


def unwritten(
    shape: tuple[int, ...], kind: type[np.floating[Any]] = np.float32
) -> NDArray[np.float32]:
    """Return zeros of which only what is written takes memory, float32 or of another kind.

    `numpy.zeros_like` writes every zero, and `numpy.zeros` asks for pages of 2 MiB: fourscore rows
    of a large picture.
    """
    size = math.prod(shape)
    pages = mmap.mmap(-1, max(size * np.dtype(kind).itemsize, 1))
    return np.frombuffer(pages, kind, size).reshape(shape)


def lean_copy(values: NDArray[np.float32]) -> NDArray[np.float32]:
    """Return a copy, float32, in which wide stretches of zeros take no memory."""
    copy = unwritten(values.shape)
    np.copyto(copy, values, where=values != 0)
    return copy


def give_back_memory() -> None:
    """Let go of freed memory, where the process holds much of it and the C library has such a call.

    From then on large blocks go back as soon as they are freed.
    """
    if resident_bytes() >= _WORTH_GIVING_BACK:
        _trim()(0)


def resident_bytes() -> int:
    """Return the memory that the process holds now; 0 where the system does not tell (proc(5))."""
    try:
        pages = int(Path("/proc/self/statm").read_text().split()[1])
    except (OSError, IndexError, ValueError):
        return 0
    return pages * mmap.PAGESIZE


def peak_resident_bytes() -> int | None:
    """Return the most memory this process has held, None where the system does not tell.

    Linux counts what the parent held into a child's `ru_maxrss` (getrusage(2) keeps it over exec),
    so there the high-water mark of the process itself is read (proc(5), VmHWM).
    """
    try:
        status = Path("/proc/self/status").read_text()
        return int(status.split("VmHWM:")[1].split()[0]) * 1024
    except (OSError, IndexError, ValueError):
        pass
    try:
        import resource  # noqa: PLC0415 - not on every system
    except ImportError:
        return None
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    return int(peak if sys.platform == "darwin" else peak * 1024)


@cache
def _trim() -> Callable[[int], object]:
    try:
        library = ctypes.CDLL(None)
        trim: Callable[[int], object] = library.malloc_trim
        library.mallopt(_M_MMAP_THRESHOLD, _LARGE_BLOCK)
        library.mallopt(_M_TRIM_THRESHOLD, 128 << 20)
    except (AttributeError, OSError, TypeError):  # no glibc
        return bool
    return trim
