"""The one resampling, against scipy's splines and against geometry."""

import numpy as np
import pytest
from scipy import ndimage
from skimage import data

from blendkit.alignment.warp import warp_to_background
from blendkit.frame import Float


def cup() -> Float:
    """Return scikit-image's coffee cup in linear light, as soft as a lens makes it."""
    picture = np.square(np.asarray(data.coffee(), np.float32) / 255)
    return np.stack([ndimage.gaussian_filter(picture[..., c], 0.7) for c in range(3)], axis=-1)


def test_a_shift_by_parts_of_a_pixel_agrees_with_quintic_splines() -> None:
    picture = cup()
    matrix = np.array([[1, 0, 0.37], [0, 1, -0.46], [0, 0, 1]])
    moved = warp_to_background(picture, matrix, (600, 400)).pixels
    exact = np.stack(
        [ndimage.shift(picture[..., c], (0.46, -0.37), order=5) for c in range(3)], axis=-1
    )
    error = float(np.sqrt(np.square(moved - exact)[10:-10, 10:-10].mean()))
    # 65 dB measured; OpenCV's cubic gives 55 dB, its linear 44 dB.
    assert 1e-5 < error < 8e-4


def test_the_identity_copies() -> None:
    picture = cup()
    warped = warp_to_background(picture, np.eye(3), (600, 400))
    assert np.array_equal(warped.pixels, picture)
    assert warped.footprint.all()


@pytest.mark.parametrize(("x", "y"), [(30.0, -12.0), (-7.5, 4.0)])
def test_the_footprint_ends_where_the_frame_does(x: float, y: float) -> None:
    matrix = np.array([[1, 0, x], [0, 1, y], [0, 0, 1]])
    footprint = warp_to_background(cup(), matrix, (600, 400)).footprint
    rows, columns = np.nonzero(footprint)
    assert abs(columns.min() - max(-x, 0)) <= 5
    assert abs(columns.max() - (599 - max(x, 0))) <= 5
    assert abs(rows.min() - max(-y, 0)) <= 5
    assert abs(rows.max() - (399 - max(y, 0))) <= 5
