"""Work on the parts of a picture in several threads.

NumPy and OpenCV let go of the interpreter while they compute, so tiles keep all cores busy where
one tile's short steps cannot.  Each part writes its own place, so the result does not depend on the
number of threads.
"""

from collections.abc import Callable, Iterable
from concurrent.futures import ThreadPoolExecutor
from typing import TypeVar

import cv2

_Part = TypeVar("_Part")
_MOST = 8
"""Threads at most: each holds a tile's intermediate pictures."""


def each_part(work: Callable[[_Part], None], parts: Iterable[_Part]) -> None:
    """Call work with every part, in as many threads as OpenCV may use.

    work: writes nothing that another part's call reads or writes.

    Raises
    ------
    Exception : what the first call that failed raised; parts that wait are then left out.
    """
    count = min(cv2.getNumThreads(), _MOST)
    if count < 2:
        for part in parts:
            work(part)
        return
    with ThreadPoolExecutor(count) as pool:
        tasks = [pool.submit(work, part) for part in parts]
        try:
            for task in tasks:
                task.result()
        except BaseException:
            pool.shutdown(cancel_futures=True)
            raise
