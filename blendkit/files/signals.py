"""Holding off Ctrl-C and the request to end while something must not be left half done."""

import signal
import threading
from collections.abc import Iterator
from contextlib import contextmanager

_HELD = (signal.SIGINT, signal.SIGTERM)


@contextmanager
def held_off() -> Iterator[None]:
    """Let SIGINT and SIGTERM wait for the end of the block, which must be short; then obey them.

    Python hears signals in the main thread alone; in another one the block just runs.
    """
    if threading.current_thread() is not threading.main_thread():
        yield
        return
    came: list[int] = []
    # None is a handler that was not set from Python and could not be put back.
    before = {number: own for number in _HELD if (own := signal.getsignal(number)) is not None}
    try:
        for number in before:
            signal.signal(number, lambda caught, _: came.append(caught))
        yield
    finally:
        for number, own in before.items():
            signal.signal(number, own)
        for heard in dict.fromkeys(came):
            signal.raise_signal(heard)
