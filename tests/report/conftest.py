"""One small merge, with the true matte, for all tests of the report."""

from dataclasses import dataclass
from pathlib import Path

import pytest

from blendkit.merge import Merged, merge_pair
from blendkit.report import Given, Pair, read_pair

IMAGES = Path(__file__).parents[2] / "testimages"


@dataclass(frozen=True)
class Case:
    """A merged pair and what went in."""

    pair: Pair
    merged: Merged


@pytest.fixture(scope="session")
def case() -> Case:
    given = Given(
        frames=(IMAGES / "gate-stopped.tif", IMAGES / "gate-wide.tif"),
        matte=IMAGES / "gate-true-matte.tif",
    )
    pair = read_pair(given)
    return Case(pair, merge_pair(pair.background, pair.foreground, hints=pair.hints))
