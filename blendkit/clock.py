"""Times the stages of a merge and tells progress."""

import time
from collections.abc import Iterator
from contextlib import contextmanager

from blendkit.frame import Progress
from blendkit.memory import give_back_memory

STAGES = ("alignment", "light", "sharpness", "matte", "plate", "composite", "checks")


class Stopwatch:
    """Measures wall time a stage; time_s holds what has ended."""

    def __init__(self, progress: Progress) -> None:
        self._progress = progress
        self.time_s: dict[str, float] = {}

    @contextmanager
    def __call__(self, stage: str) -> Iterator[None]:
        """Time the block as one stage and tell its start; at its end freed memory goes back."""
        self._progress(stage, STAGES.index(stage) / len(STAGES))
        began = time.perf_counter()
        yield
        give_back_memory()
        self.time_s[stage] = time.perf_counter() - began
