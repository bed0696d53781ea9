"""The zones that a click takes, told from the blur between the frames."""

from types import SimpleNamespace
from typing import Any, cast

import numpy as np

from blendkit.review.zones import zone_strokes, zones_of
from blendkit.sharpness import RelativeBlur

SIZE = (400, 240)
HER = slice(160, 240)


def merged_with(disc_px: np.ndarray, confidence: np.ndarray, hers: np.ndarray) -> Any:
    """Return what `zones_of` reads of a merge with no foreground; blur at a quarter of the size."""
    blur = RelativeBlur(disc_px[::4, ::4], confidence[::4, ::4], 4)
    matte = SimpleNamespace(alpha=np.zeros(hers.shape, np.float32))
    return cast("Any", SimpleNamespace(blur=blur, matte=matte, hers=hers))


def test_soft_ground_beside_the_sitter_is_no_part_of_her_zone() -> None:
    """She is sharp in both frames; the ground beside her was painted, so nothing was measured."""
    hers = np.zeros(SIZE[::-1], np.bool_)
    hers[:, HER] = True
    disc_px = np.where(hers, 0, 20).astype(np.float32)
    confidence = np.ones(hers.shape, np.float32)
    confidence[:, 100:160] = 0
    zones = zones_of(merged_with(disc_px, confidence, hers))
    cell_px = SIZE[0] / zones.shape[1]
    row = zones[zones.shape[0] // 2]
    her, ground, beside = (row[int(x / cell_px)] for x in (200, 40, 150))
    assert her > 0
    assert ground > 0
    assert her != ground
    assert beside == ground
    strokes = zone_strokes(zones, (150.0, 120.0), SIZE, "background")
    reached = max(x + one.diameter_px / 2 for one in strokes for x, _ in one.points)
    assert 150 < reached < 170
