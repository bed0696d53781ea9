"""Tests in several processes: one thread each, long files first.

Threads of two processes would wait for each other, and a long file begun last would be waited for.
"""

import os

import cv2
import pytest

_ONE = ("OPENCV_FOR_THREADS_NUM", "OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS")

if "PYTEST_XDIST_WORKER" in os.environ:
    os.environ.update(dict.fromkeys(_ONE, "1"))  # for the programs that tests start
    cv2.setNumThreads(1)

_LONG = ("truth", "browser", "docs", "batch", "faults", "cli")
"""Folders whose files take longest, longest first."""


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Sort the long folders to the front; whatever else keeps its order."""
    place = {name: rank for rank, name in enumerate(_LONG)}
    items.sort(key=lambda item: place.get(item.path.parent.name, len(_LONG)))
