"""How the tests are shared between processes: one thread each, and long files first."""

import os
from pathlib import Path

import cv2
import pytest

_ONE = ("OPENCV_FOR_THREADS_NUM", "OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS")
_LONG = ("docs", "truth", "browser", "batch", "cli", "faults", "reference")
"""Folders whose files take longest.  A file is one process's: a long one begun last leaves the
other without work, 45 s of ten minutes."""

if "PYTEST_XDIST_WORKER" in os.environ:
    # Else the processes wait for each other's threads; the environment is for programs they start.
    os.environ.update(dict.fromkeys(_ONE, "1"))
    cv2.setNumThreads(1)


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Put the files of the long folders first."""
    here = Path(__file__).parent
    items.sort(key=lambda item: not (here in item.path.parents and _folder(item, here) in _LONG))


def _folder(item: pytest.Item, here: Path) -> str:
    return item.path.relative_to(here).parts[0]
