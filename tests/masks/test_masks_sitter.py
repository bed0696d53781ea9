"""The zone in focus in both frames, veiled or not."""

import numpy as np
import pytest

from blendkit.filters.disc import disc_blur
from blendkit.masks.sitter import _ALIKE, _likeness


@pytest.fixture
def cloth() -> np.ndarray:
    rng = np.random.default_rng(3)
    return np.repeat(rng.uniform(0.1, 0.5, (120, 160, 1)), 3, axis=2).astype(np.float32)


def test_a_veil_over_detail_leaves_it_alike(cloth: np.ndarray) -> None:
    rng = np.random.default_rng(4)
    veiled = 0.4 * cloth + 0.03 + rng.normal(0, 0.004, cloth.shape)
    alike = _likeness(veiled.astype(np.float32), cloth)
    assert alike.min() > 0.8


def test_blurred_detail_is_unlike(cloth: np.ndarray) -> None:
    rng = np.random.default_rng(5)
    soft = disc_blur(cloth, 14) + rng.normal(0, 0.004, cloth.shape)
    alike = _likeness(soft.astype(np.float32), cloth)
    assert np.percentile(alike, 95) < _ALIKE
