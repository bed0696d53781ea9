"""The mask that nobody painted: it follows boughs to their ends, and nothing else.

The network is replaced by one that is told the truth: sure inside a mask, blind in the open but for
one end of a bough.
"""

import cv2
import numpy as np
import pytest

from blendkit.frame import Bool, Float
from blendkit.masks import unpainted
from blendkit.masks.network import SHARP, SOFT
from blendkit.masks.spread import left_out, marked_boughs
from blendkit.masks.unpainted import unpainted_mask

SHAPE = (400, 600)
PICTURE = np.full((*SHAPE, 3), 0.2, np.float32)


def bough() -> Float:
    drawn = np.zeros(SHAPE, np.uint8)
    points = np.array([(0, 350), (150, 250), (320, 270), (470, 120), (599, 60)])
    cv2.polylines(drawn, [points], isClosed=False, color=255, thickness=5)
    return np.float32(drawn / 255)


def masked(
    patched: pytest.MonkeyPatch,
    truth: Float,
    open_look: Float,
    region: Bool,
    front: Float | None = None,
    back: Float | None = None,
    weights: str = SHARP,
) -> Bool:
    """Return the mask that is found where the network knows the truth inside a mask alone."""

    def network(_one: Float, _other: Float, hint: Float, _grain: float, **_weights: str) -> Float:
        look = open_look if hint.all() else truth  # a small look, or one inside a mask
        return np.asarray(cv2.resize(look, hint.shape[::-1]) * hint, np.float32)

    patched.setattr(unpainted, "network_matte", network)
    return unpainted_mask(PICTURE, PICTURE, open_look, region, 0.01, (front, back), weights=weights)


def reach_px(mask: Bool, truth: Float) -> float:
    away = cv2.distanceTransform((truth < 0.5).astype(np.uint8), cv2.DIST_L2, 5)
    return float(away[mask].max())


def test_a_bough_is_followed_to_its_end(monkeypatch: pytest.MonkeyPatch) -> None:
    truth, everywhere = bough(), np.ones(SHAPE, np.bool_)
    start = truth * (np.arange(600) < 60)
    mask = masked(monkeypatch, truth, start, everywhere)
    assert mask[truth > 0.5].mean() == 1
    assert reach_px(mask, truth) < 15


def test_of_soft_boughs_a_faint_start_is_enough(monkeypatch: pytest.MonkeyPatch) -> None:
    """The weights for them hold back in the open."""
    truth, everywhere = bough(), np.ones(SHAPE, np.bool_)
    start = np.float32(0.15) * truth * (np.arange(600) < 60)
    soft, sharp = (masked(monkeypatch, truth, start, everywhere, weights=w) for w in (SOFT, SHARP))
    assert soft[truth > 0.5].mean() == 1
    assert not sharp.any()


def test_where_nothing_may_be_it_ends(monkeypatch: pytest.MonkeyPatch) -> None:
    truth, region = bough(), np.ones(SHAPE, np.bool_)
    region[:, 300:340] = False
    mask = masked(monkeypatch, truth, truth * (np.arange(600) < 60), region)
    assert not mask[:, 300:].any()
    assert mask[:, :300][truth[:, :300] > 0.5].all()


def test_specks_and_broad_patches_lead_nowhere(monkeypatch: pytest.MonkeyPatch) -> None:
    bare = bough()
    truth = bare.copy()
    cv2.rectangle(truth, (60, 290), (200, 399), 1.0, -1)  # ground beside the bough
    rng = np.random.default_rng(3)
    for x, y in zip(rng.integers(0, 600, 60), rng.integers(0, 400, 60), strict=True):
        cv2.circle(truth, (int(x), int(y)), 3, 1.0, -1)
    mask = masked(monkeypatch, truth, bare * (np.arange(600) < 40), np.ones(SHAPE, np.bool_))
    assert mask[bare > 0.5].mean() > 0.9
    assert mask.mean() < 0.2
    assert not mask[330:, 100:].any()


def test_nothing_found_and_nothing_marked_is_no_mask(monkeypatch: pytest.MonkeyPatch) -> None:
    mask = masked(monkeypatch, bough(), np.zeros(SHAPE, np.float32), np.ones(SHAPE, np.bool_))
    assert not mask.any()


def test_a_stroke_is_enough_where_nothing_was_found(monkeypatch: pytest.MonkeyPatch) -> None:
    truth, front = bough(), np.zeros(SHAPE, np.float32)
    cv2.line(front, (100, 283), (140, 257), 1.0, 3)
    blind = np.zeros(SHAPE, np.float32)
    mask = masked(monkeypatch, truth, blind, np.ones(SHAPE, np.bool_), front)
    assert mask[truth > 0.5].mean() == 1


def test_what_a_background_stroke_took_is_not_followed_into_again(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """The preview leaves it out, and in a merge with strokes of both roles it grew back."""
    truth = bough()
    front, back = np.zeros(SHAPE, np.float32), np.zeros(SHAPE, np.float32)
    cv2.line(front, (10, 342), (60, 310), 1.0, 7)
    cv2.line(back, (320, 270), (350, 240), 1.0, 9)
    everywhere = np.ones(SHAPE, np.bool_)
    mask = masked(monkeypatch, truth, truth, everywhere, front, back)
    taken = left_out(truth, front, back)
    assert 0.15 < (taken & (truth > 0.5)).sum() / (truth > 0.5).sum() < 0.6
    assert not (mask & taken).any()
    assert (mask & (truth > 0.5))[:, :150].sum() > 0.95 * (truth > 0.5)[:, :150].sum()


def test_a_stroke_marks_its_paint_and_the_faint_piece_under_it() -> None:
    faint = 0.1 * bough()
    front, back = (np.zeros(SHAPE, np.float32) for _ in range(2))
    cv2.line(front, (100, 283), (140, 257), 1.0, 3)
    back[:, 400:410] = 1
    marked = marked_boughs(faint, front, back)
    assert marked[front > 0.5].all()
    assert marked[:, :250][faint[:, :250] > 0.09].all()
    assert not marked[:, 412:].any()
