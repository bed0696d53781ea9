"""A sitter whom the foreground frame spreads a little: detail by division, slow tones as shown."""

import numpy as np
import pytest

from blendkit.blending import Veil, WholeBackdrop
from blendkit.blending.plate import make_plate
from blendkit.filters.bands import gaussian
from blendkit.filters.disc import disc_blur
from blendkit.frame import Float
from blendkit.settings import PlateSettings

SHAPE = (300, 500)
GREEN = np.array([0.10, 0.30, 0.05], np.float32)
DRESS = np.array([0.03, 0.08, 0.30], np.float32)


def dress() -> Float:
    """Return blue cloth with white dots, 10 px wide."""
    y, x = np.indices(SHAPE)
    dots = ((y // 10) % 3 == 0) & ((x // 10) % 3 == 0)
    return np.where(dots[..., None], np.float32(0.6), DRESS).astype(np.float32)


def veiled(plate: Float) -> tuple[Float, Float]:
    """Return a plate behind soft green stalks, and their coverage."""
    coverage = np.zeros(SHAPE, np.float32)
    coverage[:, 150:230] = coverage[:, 290:350] = 0.7
    coverage = gaussian(coverage, 20.0)
    return coverage[..., None] * GREEN + (1 - coverage[..., None]) * plate, coverage


def cleared(spread_px: float, mistaken: float) -> tuple[Float, Float, Float]:
    """Return the plate made with a veil told too large by a share, the true one, and where."""
    true = dress()
    seen, coverage = veiled(true)
    told = np.minimum(coverage * (1 + mistaken), 1)
    veil = Veil(told, ((np.dstack([told[..., None] * GREEN, told]), 1),))
    behind = WholeBackdrop(disc_blur(true, spread_px), np.ones(SHAPE, np.float32))
    nobody = np.zeros(SHAPE, np.float32)
    sharpness = np.full(SHAPE, spread_px, np.float32)
    made = make_plate(seen, veil, behind, nobody, PlateSettings(), sharpness=sharpness)
    return made.pixels, true, coverage > 0.3


def test_a_veil_taken_for_more_than_it_is_takes_no_colour_out_of_a_dress() -> None:
    made, true, where = cleared(5.0, mistaken=0.2)
    cloth = where & (true[..., 0] < 0.1)
    kept = made[cloth].mean(axis=0) / true[cloth].mean(axis=0)
    assert kept[1] == pytest.approx(1, abs=0.2)
    assert 0.75 < kept[2] < 1.3
    left, _, _ = cleared(20.0, mistaken=0.2)  # spread too far to tell
    assert left[cloth].mean(axis=0)[1] / true[cloth].mean(axis=0)[1] < 0.75


@pytest.mark.parametrize("mistaken", [0.0, 0.1])
def test_detail_stays_the_background_frames(mistaken: float) -> None:
    made, true, where = cleared(5.0, mistaken=mistaken)
    fine_made, fine_true = (part - gaussian(part, 3.0) for part in (made, true))
    kept = (fine_made * fine_true)[where].mean() / np.square(fine_true)[where].mean()
    assert 0.9 < kept < 1.15
