"""The disc that a foreground's edges show is read off bright and dark pictures alike."""

import numpy as np
import pytest

from blendkit.filters.disc import disc_blur
from blendkit.masks.edges import edge_disc_px


@pytest.mark.parametrize("gain", [1.0, 1 / 8, 1 / 32, 1 / 128])
def test_a_dark_picture_shows_the_same_disc(gain: float) -> None:
    square = np.full((240, 240, 3), 0.25, np.float32)
    square[60:180, 60:180] = 0.02
    matte = np.float32(square[..., 0] < 0.1)
    soft, coverage = disc_blur(square, 7.0), disc_blur(matte, 7.0)
    found = edge_disc_px(soft * np.float32(gain), coverage)
    assert found == pytest.approx(7, abs=1.5)
    assert found == pytest.approx(edge_disc_px(soft, coverage), abs=0.3)
