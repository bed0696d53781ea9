"""What both frames reach, against the footprint of the frame that was resampled."""

import cv2
import numpy as np
import pytest

from blendkit.alignment.warp import covered_box, warp_to_background

SIZE = (240, 160)


@pytest.mark.parametrize("seed", range(12))
def test_the_box_lies_inside_the_footprint_and_nearly_fills_it(seed: int) -> None:
    rng = np.random.default_rng(seed)
    turn = cv2.getRotationMatrix2D((120, 80), rng.uniform(-2, 2), rng.uniform(0.97, 1.05))
    matrix = np.vstack([turn, [0, 0, 1]])
    matrix[:2, 2] += rng.uniform(-9, 9, 2)
    matrix[2, :2] = rng.normal(0, 1e-5, 2)
    reached = warp_to_background(np.ones((160, 240, 3), np.float32), matrix, SIZE).footprint
    box = covered_box(matrix, SIZE)
    assert box is not None
    x, y, width, height = box
    assert reached[y : y + height, x : x + width].all()
    assert width * height > 0.9 * reached.sum()
    # As far out as it goes: one px (and the rounding of the footprint) more reaches over.
    wider = reached[max(y - 2, 0) : y + height + 2, max(x - 2, 0) : x + width + 2]
    assert not wider.all() or (width, height) == SIZE


def test_frames_that_lie_on_each_other_already_cover_the_whole_picture() -> None:
    reached = warp_to_background(np.ones((160, 240, 3), np.float32), np.eye(3), SIZE).footprint
    assert reached.all()
    assert covered_box(np.eye(3), SIZE) == (0, 0, *SIZE)


def test_frames_that_do_not_lie_on_each_other_have_no_box() -> None:
    assert covered_box(np.array([[1.0, 0, 300], [0, 1, 0], [0, 0, 1]]), SIZE) is None
