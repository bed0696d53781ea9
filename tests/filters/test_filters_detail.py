"""Fine detail is found again in the other frame, and only what is in focus has it."""

import cv2
import numpy as np
import pytest
from scipy import ndimage
from skimage import data

from blendkit.filters.detail import detailed_in_both, displacement_px
from blendkit.frame import Float


def picture() -> Float:
    coded = np.asarray(data.coffee(), np.float32) / 255
    return np.ascontiguousarray(coded[:400, :600] ** 2.2)


@pytest.mark.parametrize("moved", [(11.0, -4.0), (-6.5, 8.25)])
def test_a_known_displacement_is_found_to_a_fraction_of_a_pixel(moved: tuple[float, float]) -> None:
    here = picture()
    # SciPy moves the picture: another library than the one that finds it.
    there = np.asarray(ndimage.shift(here, (moved[1], moved[0], 0), order=3, mode="mirror"))
    where = np.zeros(here.shape[:2], np.bool_)
    where[60:340, 80:520] = True
    found = displacement_px(here, np.maximum(there, 0).astype(np.float32), where)
    assert found is not None
    assert np.abs(np.subtract(found, moved)).max() < 0.15


def test_what_lies_in_place_is_not_displaced() -> None:
    here = picture()
    assert displacement_px(here, here, np.ones(here.shape[:2], np.bool_)) is None


def test_only_the_part_in_focus_in_both_frames_is_detailed() -> None:
    sharp = picture()
    noise = np.random.default_rng(1).normal(0, 0.001, sharp.shape).astype(np.float32)
    soft = cv2.GaussianBlur(sharp, (0, 0), 8.0)
    soft[100:300, 200:400] = sharp[100:300, 200:400]
    found = detailed_in_both(np.maximum(soft + noise, 0), sharp)
    assert found[120:280, 220:380].mean() > 0.8
    # The strongest edges leave a trace even of a wide blur.
    assert found[:, :150].mean() < 0.1
    assert found[:, 450:].mean() < 0.1
