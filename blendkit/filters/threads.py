"""Work on the parts of a picture in several threads.

NumPy and OpenCV let go of the interpreter while they compute, so tiles keep all cores busy where
one tile's short steps cannot.  Each part writes its own place, so the result does not depend on the
number of threads.
"""

import os
from collections.abc import Callable, Iterable
from concurrent.futures import ThreadPoolExecutor, wait
from functools import cache
from threading import Barrier, local
from typing import TypeVar

import cv2

from blendkit.memory import give_back_memory

_Part = TypeVar("_Part")
_Result = TypeVar("_Result")
_MOST = 8
"""Threads at most: each holds a tile's intermediate pictures."""
_here = local()


def each_part(work: Callable[[_Part], None], parts: Iterable[_Part]) -> None:
    """Call work with every part, in as many threads as OpenCV may use.

    work: writes nothing that another part's call reads or writes.

    Raises
    ------
    Exception : what the first call that failed raised; parts that wait are then left out.
    """
    each_result(work, parts)
    if _count() > 1:
        give_back_memory()


def each_result(work: Callable[[_Part], _Result], parts: Iterable[_Part]) -> list[_Result]:
    """Return what work says of every part, in their order; threads and errors as above.

    For short work: freed memory is kept for the next.
    """
    count = _count()
    if count == 1:
        return [work(part) for part in parts]
    pool = _pool(count)
    tasks = [pool.submit(work, part) for part in parts]
    try:
        return [task.result() for task in tasks]
    except BaseException:
        for task in tasks:
            task.cancel()
        wait(tasks)
        raise


def _count() -> int:
    """Return how many threads may share the work that is asked for here: 1 within one of them."""
    within = getattr(_here, "within", False)
    return 1 if within else max(min(cv2.getNumThreads(), _MOST), 1)


@cache
def _pool(count: int) -> ThreadPoolExecutor:
    """Return the pool of so many threads, all of them running.

    They start once, early: CPython 3.11 waits for ever on a thread that finds no memory to start.
    """

    def mark() -> None:
        _here.within = True

    pool = ThreadPoolExecutor(count, initializer=mark)
    met = Barrier(count + 1)
    for _ in range(count):
        pool.submit(met.wait)
    met.wait()
    return pool


os.register_at_fork(after_in_child=_pool.cache_clear)  # threads do not come along
