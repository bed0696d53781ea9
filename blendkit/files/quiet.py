"""Silence for libraries that log what they also raise: the user gets one line, ours."""

import logging
from collections.abc import Iterator
from contextlib import contextmanager


@contextmanager
def quiet(*names: str) -> Iterator[None]:
    """Keep the loggers of these names still while the block runs."""
    loggers = [logging.getLogger(name) for name in names]
    levels = [logger.level for logger in loggers]
    for logger in loggers:
        logger.setLevel(logging.CRITICAL + 1)
    try:
        yield
    finally:
        for logger, level in zip(loggers, levels, strict=True):
            logger.setLevel(level)
