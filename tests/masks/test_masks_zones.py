"""The zone map: numbers, order, and what counts as unplaced."""

import numpy as np

from blendkit.masks.zones import FIRST_FOREGROUND, SITTER, UNPLACED, unplaced, zone_map

SHAPE = (120, 300)


def blank() -> np.ndarray:
    return np.zeros(SHAPE, np.float32)


def test_pieces_are_numbered_from_the_largest_and_the_sitter_is_one() -> None:
    alpha, sitter = blank(), blank()
    alpha[10:20, 10:60] = 1
    alpha[40:60, 10:60] = 1
    sitter[70:110, 200:260] = 1
    zones = zone_map(alpha, sitter, np.zeros(SHAPE, np.bool_))
    assert zones[50, 30] == FIRST_FOREGROUND
    assert zones[15, 30] == FIRST_FOREGROUND + 1
    assert zones[90, 230] == SITTER
    assert zones[0, 0] == 0


def test_what_was_dropped_and_what_stays_half_is_unplaced_and_an_edge_is_not() -> None:
    proposed, kept = blank(), blank()
    proposed[10:30, 10:40] = 0.9
    proposed[60:90, 100:150] = kept[60:90, 100:150] = 0.5
    kept[:, 250:] = 1
    kept[:, 249] = 0.5
    proposed = np.maximum(proposed, kept)
    open_ = unplaced(proposed, kept)
    assert open_[20, 25]
    assert open_[75, 125]
    assert not open_[:, 240:].any()
    zones = zone_map(kept, blank(), open_)
    assert zones[20, 25] == UNPLACED


def test_a_thousand_specks_fit_into_eight_bits() -> None:
    alpha = blank()
    alpha[::4, ::4] = 1
    zones = zone_map(alpha, blank(), np.zeros(SHAPE, np.bool_))
    assert zones.max() == 255
    assert ((zones > 0) == (alpha > 0)).all()
