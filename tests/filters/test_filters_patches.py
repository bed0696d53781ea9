"""Light added in small windows: the same as adding it to a copy of the whole picture."""

import numpy as np
import pytest

from blendkit.filters.patches import Patch, patched, reduced_patched
from blendkit.filters.resample import reduce_by
from blendkit.filters.tiles import tiles, whole
from blendkit.frame import Float

SHAPE = (61, 83)


def _picture() -> tuple[Float, list[Patch], Float]:
    """Return a picture, patches that lie beside, over each other and at the rim, and both added."""
    rng = np.random.default_rng(5)
    pixels = rng.uniform(0, 1, (*SHAPE, 3)).astype(np.float32)
    total, patches = pixels.copy(), []
    for top, left, height, width in ((0, 0, 5, 9), (3, 4, 20, 7), (40, 70, 21, 13), (30, 31, 1, 1)):
        window = slice(top, top + height), slice(left, left + width)
        light = rng.uniform(0, 2, (height, width, 3)).astype(np.float32)
        total[window] += light
        patches.append(Patch(window, light))
    return pixels, patches, total


@pytest.mark.parametrize("side", [7, 16, 100])
def test_parts_add_up_to_the_whole(side: int) -> None:
    pixels, patches, total = _picture()
    before = pixels.copy()
    put = np.empty_like(pixels)
    for own, _ in tiles(SHAPE, side, 0):
        put[own] = patched(pixels, own, patches)
    np.testing.assert_allclose(put, total, rtol=1e-6)
    assert np.array_equal(pixels, before)


@pytest.mark.parametrize("factor", [1, 2, 5])
def test_a_reduced_picture_has_them_too(factor: int) -> None:
    pixels, patches, total = _picture()
    before = pixels.copy()
    np.testing.assert_allclose(
        reduced_patched(pixels, patches, factor), reduce_by(total, factor), rtol=1e-5
    )
    assert np.array_equal(pixels, before)


def test_nothing_is_copied_where_no_patch_lies() -> None:
    pixels, patches, _ = _picture()
    part = slice(50, 60), slice(0, 20)
    assert np.shares_memory(patched(pixels, part, patches), pixels)
    assert np.shares_memory(patched(pixels, whole(SHAPE), ()), pixels)
