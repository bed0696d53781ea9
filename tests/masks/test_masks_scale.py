"""The size at which the matte is looked for follows how sharp the boughs are in their own frame."""

import numpy as np
import pytest

from blendkit.alignment.warp import warp_to_background
from blendkit.masks import first_look as look
from blendkit.masks.find import find_coverage
from blendkit.masks.first_look import first_look
from blendkit.masks.network import REFOCUSED, SHARP, SOFT
from blendkit.settings import MatteSettings
from blendkit.simulate import SCENES, PairSpec, SimulatedPair, make_pair
from blendkit.simulate.rough_mask import rough_mask

_SIZE = (900, 600)


def pair(own_disc_px: float) -> SimulatedPair:
    discs = {"foreground_disc_px": (45.0, own_disc_px), "background_disc_px": (20.0, 3.0)}
    return make_pair(SCENES["thick_boughs"](2, _SIZE), PairSpec(**discs, gain=1.0, seed=2))


@pytest.mark.parametrize(
    ("own_disc_px", "factors", "sharp"),
    [(1.0, {1}, {1}), (1.8, {1}, {1}), (9.0, {1, 2}, {2, 4}), (16.0, {1, 2}, {2, 4})],
)
def test_soft_boughs_are_looked_for_in_a_smaller_picture(
    own_disc_px: float, factors: set[int], sharp: set[int]
) -> None:
    taken = pair(own_disc_px)
    soft, truth = taken.background.pixels, taken.truth
    sharp_frame = warp_to_background(taken.foreground.pixels, truth.warp, _SIZE).pixels
    mask = rough_mask(truth.matte, seed=2)
    first = first_look(soft, sharp_frame, mask.astype(np.float32), 0.004)
    assert first.factor in factors
    assert first.sharp_factor in sharp
    assert first.weights == (SHARP if first.factor == first.sharp_factor else SOFT)
    assert first.matte.shape == (-(-_SIZE[1] // first.factor), -(-_SIZE[0] // first.factor))
    found = find_coverage(soft, sharp_frame, mask > 0, 0.004, MatteSettings(), painted=True)
    assert found.factor in sharp
    assert found.alpha.shape == (_SIZE[1], _SIZE[0])
    assert found.alpha[mask == 0].max() == 0
    assert 0.5 < float((found.alpha * truth.matte).sum() / truth.matte.sum()) <= 1


@pytest.mark.parametrize(("own_disc_px", "weights"), [(1.0, SHARP), (9.0, SOFT)])
def test_soft_boughs_are_known_where_nobody_painted(own_disc_px: float, weights: str) -> None:
    taken = pair(own_disc_px)
    soft, truth = taken.background.pixels, taken.truth
    sharp_frame = warp_to_background(taken.foreground.pixels, truth.warp, _SIZE).pixels
    first = first_look(soft, sharp_frame, np.ones(_SIZE[::-1], np.float32), 0.004)
    assert first.weights == weights


def test_how_soft_boughs_are_is_not_asked_where_the_frame_was_focused_on_them() -> None:
    taken = pair(9.0)
    sharp_frame = warp_to_background(taken.foreground.pixels, taken.truth.warp, _SIZE).pixels
    hint = rough_mask(taken.truth.matte, seed=2).astype(np.float32)
    first = first_look(taken.background.pixels, sharp_frame, hint, 0.004, refocused=True)
    assert first.weights == REFOCUSED
    assert first.sharp_factor == 1


@pytest.mark.parametrize(
    ("discs_px", "weights"),
    [((3.50, 3.59, 3.68, 4.60), SHARP), ((3.24, 4.88, 3.25, 5.44), SOFT)],
    ids=["leaves of the wall's colour, misplaced", "boughs of 9 px"],
)
def test_what_a_matte_misplaces_does_not_pass_for_a_disc(
    discs_px: tuple[float, ...], weights: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    # Readings of two real cases at half and full size, by the first weights and by the others: a
    # disc grows with the picture, what is misplaced hardly does.
    read = iter((*discs_px, *([2.0] * 8)))
    monkeypatch.setattr(look, "_own_disc_px", lambda *_: next(read))
    shape = (400, 600)
    scales = [(f, np.zeros((-(-shape[0] // f), -(-shape[1] // f)), np.float32)) for f in (4, 2, 1)]
    monkeypatch.setattr(look, "ever_finer", lambda *_, **__: iter(scales))
    blank = np.zeros((*shape, 3), np.float32)
    first = first_look(blank, blank, np.ones(shape, np.float32), 0.004)
    assert first.weights == weights
