"""Motion models against numerical derivatives and against other ways to say the same motion."""

import numpy as np
import pytest
from scipy import ndimage

from blendkit.alignment import models
from blendkit.alignment.boxes import mapped_box, whole_box, zone_box

SIZE = (300, 200)
START = np.array([[1.01, -0.02, 3.0], [0.02, 1.01, -2.0], [0.0, 0.0, 1.0]])


@pytest.mark.parametrize("model", models.MODELS)
def test_basis_is_the_derivative_of_the_step(model: str) -> None:
    points = models.grid_points(SIZE)
    basis = models.point_basis(model, points, SIZE)
    for index in range(models.MODELS[model]):
        small = np.zeros(models.MODELS[model])
        small[index] = 1e-4
        moved, _ = models.step(np.eye(3), small, model, SIZE)
        change = (models.apply(moved, points) - points).T / 1e-4
        assert np.abs(change - basis[:, index]).max() < 2e-4 * SIZE[0]


@pytest.mark.parametrize(("model", "count"), models.MODELS.items())
def test_every_model_has_its_number_of_parameters(model: str, count: int) -> None:
    assert models.point_basis(model, models.grid_points(SIZE), SIZE).shape == (2, count, 81)


def test_sample_agrees_with_scipy_on_a_smooth_picture() -> None:
    rng = np.random.default_rng(1)
    picture = ndimage.gaussian_filter(rng.normal(size=(200, 300)), 4).astype(np.float32)
    moved, valid = models.sample(picture, START, SIZE)
    rows, columns = np.indices((200, 300))
    x = START[0, 0] * columns + START[0, 1] * rows + START[0, 2]
    y = START[1, 0] * columns + START[1, 1] * rows + START[1, 2]
    wanted = ndimage.map_coordinates(picture, [y, x], order=3, mode="nearest")
    inside = (valid > 0) & (x > 4) & (x < 295) & (y > 4) & (y < 195)
    worst = np.abs(moved - wanted)[inside].max() / picture.std()
    # Both are cubic, of two kinds, and OpenCV rounds positions to 1/32 px.
    assert 1e-6 < worst < 0.06


def test_predicted_error_of_a_known_covariance() -> None:
    covariance = np.diag([0.03**2, 0.04**2])
    error = models.predicted_rms_px(covariance, "translation", models.grid_points(SIZE), SIZE)
    assert error == pytest.approx(0.05, abs=1e-9)


def test_boxes_hold_what_they_map() -> None:
    weights = np.zeros((50, 75), np.float32)
    weights[20:25, 30:40] = 1
    box = zone_box(weights, 4, (200, 300))
    assert box == (80, 40, 200, 140)
    mapped = mapped_box(box, START, (200, 300))
    inner = models.apply(START, np.array([[120.0, 80.0], [160.0, 100.0]]))
    assert (inner >= mapped[:2]).all()
    assert (inner < mapped[2:]).all()
    assert zone_box(np.ones((50, 75), np.float32), 4, (200, 300)) is None
    assert whole_box((200, 300)) == (0, 0, 300, 200)
