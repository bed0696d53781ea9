"""The preview that follows the brush: what nobody waits for any more is given up."""

import cv2
import numpy as np
import pytest

from blendkit.frame import Frame
from blendkit.review.preview import Previewer, Small, Superseded
from blendkit.settings import MergeSettings


def small() -> Small:
    cells = np.random.default_rng(1).uniform(0.1, 0.9, (40, 60, 3)).astype(np.float32)
    wall = cv2.resize(cells, (240, 160), interpolation=cv2.INTER_CUBIC)
    return Small(Frame(wall, name="wide"), Frame(0.9 * wall, name="stopped"), 0, (240, 160))


def test_a_preview_that_nobody_waits_for_is_given_up() -> None:
    def load() -> Small:
        previewer.stop()
        return small()

    previewer = Previewer(load)
    with pytest.raises(Superseded):
        previewer.update((), (), MergeSettings())
    assert previewer.merged() is None


def test_after_that_the_next_request_is_answered() -> None:
    previewer = Previewer(small)
    previewer.stop()
    shown = previewer.update((), (), MergeSettings())
    assert shown.result.shape == (160, 240, 3)
