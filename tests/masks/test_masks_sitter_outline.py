"""The zone in focus carried on to the sitter's outline, on drawn figures whose outline is known."""

import cv2
import numpy as np
import pytest

from blendkit.frame import Bool, Float
from blendkit.masks.sitter_outline import carried_to_outline

SIZE = (400, 600)


def _figure(seed: int) -> tuple[Bool, Bool, Float]:
    """Return a figure, its body without the arm, and a picture of it before soft ground."""
    rng = np.random.default_rng(seed)
    body, arm = np.zeros(SIZE, np.uint8), np.zeros(SIZE, np.uint8)
    cv2.ellipse(body, (300, 260), (60, 140), 0, 0, 360, 1, -1)
    cv2.line(arm, (345, 190), (372, 300), 1, 22)
    ground = cv2.resize(rng.uniform(0.05, 0.6, (8, 12, 3)), SIZE[::-1])
    skin = np.array([0.45, 0.3, 0.22]) * np.exp(rng.normal(0, 0.1))
    picture = np.where((body | arm)[..., None] > 0, skin, ground)
    picture = picture * np.linspace(0.8, 1.2, SIZE[1])[None, :, None]
    picture += rng.normal(0, 0.006, picture.shape)
    # A veil takes contrast, and is widest where the boughs cross.
    veil = cv2.GaussianBlur(np.float64(np.indices(SIZE)[0] > 230), (0, 0), 25)[..., None] * 0.4
    picture = picture * (1 - veil) + 0.05 * veil
    return (body | arm) > 0, body > 0, np.asarray(np.clip(picture, 0, 1), np.float32)


def _wider(zone: Bool, px: int) -> Bool:
    kernel = np.ones((2 * px + 1, 2 * px + 1), np.uint8)
    return cv2.dilate(zone.astype(np.uint8), kernel) > 0


@pytest.mark.parametrize("seed", range(4))
def test_a_smooth_arm_is_joined_to_the_body(seed: int) -> None:
    figure, body, picture = _figure(seed)
    arm = figure & ~body
    found = carried_to_outline(body, picture)
    assert (found & body).sum() == body.sum()
    assert found[arm].mean() > 0.93
    assert (found & ~figure).sum() < 0.12 * figure.sum()


def test_ground_is_not_joined_where_the_body_is_whole() -> None:
    figure, _, picture = _figure(9)
    found = carried_to_outline(figure, picture)
    assert (found & ~_wider(figure, 4)).sum() < 0.05 * figure.sum()


def test_a_zone_that_reaches_past_her_does_not_spread_over_even_sky() -> None:
    figure, _, picture = _figure(2)
    sky = np.where(figure[..., None], picture, np.float32([0.3, 0.4, 0.55]))
    past = _wider(figure, 3)
    found = carried_to_outline(past, np.asarray(sky, np.float32))
    assert found[figure].all()
    assert (found & ~past).sum() < 0.05 * figure.sum()


@pytest.mark.parametrize("zone", [np.zeros(SIZE, np.bool_), np.ones(SIZE, np.bool_)])
def test_nothing_and_everything_stay(zone: Bool) -> None:
    _, _, picture = _figure(1)
    assert np.array_equal(carried_to_outline(zone, picture), zone)


def test_an_even_picture_has_no_outline() -> None:
    _, body, _ = _figure(1)
    even = np.full((*SIZE, 3), 0.2, np.float32)
    assert np.array_equal(carried_to_outline(body, even), body)
