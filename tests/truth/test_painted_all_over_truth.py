"""A mask that leaves nothing free, and strokes beside a mask: the pair is still measured."""

from functools import cache

import cv2
import numpy as np
import pytest

from blendkit.alignment.relight import typical_gain
from blendkit.frame import Frame
from blendkit.hints import Hints
from blendkit.masks.region import search_region
from blendkit.merge import merge_pair
from blendkit.settings import MergeSettings
from blendkit.simulate import SCENES, PairSpec, SimulatedPair, make_pair
from blendkit.simulate.metrics import psnr
from blendkit.steps import Lit, in_one_light

SIZE = (360, 240)
GAIN = 0.25
"""Light of the foreground frame's file over the background frame's."""


@cache
def pair() -> SimulatedPair:
    spec = PairSpec(
        seed=5, shift_px=(0, 0), foreground_disc_px=(30.0, 0.8), background_disc_px=(12.0, 2.0)
    )
    found = make_pair(SCENES["thick_boughs"](5, SIZE), spec)
    darker = Frame(
        (GAIN * found.foreground.pixels).astype(np.float32), found.foreground.capture, "stopped"
    )
    return SimulatedPair(found.background, darker, found.truth)


def lit(hints: Hints) -> Lit:
    painted = hints.painted(SIZE)
    frames = pair().background, pair().foreground
    return in_one_light(*frames, pair().truth.warp, painted, MergeSettings())


def boughs() -> np.ndarray:
    grown = cv2.dilate(pair().truth.matte, np.ones((9, 9)))
    return np.asarray(grown > 0.1, np.float32)


@pytest.mark.parametrize("floor", [0.0, 1 / 255, 1.0])
def test_a_masks_floor_does_not_switch_off_the_light(floor: float) -> None:
    """A mask whose black is not quite 0 paints nothing there; one all white leaves nothing free."""
    hints = Hints(foreground_mask=np.maximum(boughs(), np.float32(floor)))
    assert -np.log2(typical_gain(lit(hints).light)[1]) == pytest.approx(np.log2(GAIN), abs=0.2)


def test_a_mask_all_white_asks_for_what_the_pair_itself_says() -> None:
    everywhere = Hints(foreground_mask=np.ones(SIZE[::-1], np.float32))
    merged = merge_pair(pair().background, pair().foreground, hints=everywhere)
    as_taken = psnr(pair().background.pixels, pair().truth.composite)
    assert as_taken + 2 < psnr(merged.pixels, pair().truth.composite) < 60


@pytest.mark.parametrize("corners", [(0, 1), (0, 1, 2, 3)])
def test_the_veil_beside_the_paint_says_nothing_of_the_light(corners: tuple[int, ...]) -> None:
    """Boughs painted in the corners, a dark veil in the 8 px beside: no fall-off is there."""
    height, width = 400, 600
    noise = np.random.default_rng(2).random((height, width, 3))
    ground = cv2.GaussianBlur(noise.astype(np.float32), (0, 0), 12) + np.float32(0.1)
    rows, columns = np.mgrid[:height, :width].astype(np.float32)
    painted, veil = np.zeros((height, width), np.bool_), np.zeros((height, width), np.float32)
    for corner in corners:
        away = np.hypot(rows - (corner // 2) * height, columns - (corner % 2) * width)
        painted |= away < 180
        veil = np.maximum(veil, np.clip(1 - (away - 180) / 8, 0, 1))
    soft, sharp = ground * (1 - 0.4 * veil[..., None]), ground / 2
    boughs = painted & (rows // 12 % 2 == 0)
    for frame in (soft, sharp):
        frame[boughs] = 0.02
    light = in_one_light(Frame(soft), Frame(sharp), np.eye(3), painted, MergeSettings()).light
    assert abs(sum(light.falloff_ev)) < 0.03
    assert np.allclose(light.gain_ev, 1.0, atol=0.02)


def test_a_stroke_beside_a_painted_mask_opens_what_it_covers() -> None:
    left, right = np.zeros(SIZE[::-1], np.float32), np.zeros(SIZE[::-1], np.float32)
    left[:, :180] = 1
    right[100:110, 250:260] = 1
    sharp = np.random.default_rng(1).random((*SIZE[::-1], 3)).astype(np.float32)
    arguments = np.ones(SIZE[::-1], bool), (0 * sharp, sharp), (0.001, 0.001), 0 * left, left > 1
    region = search_region(*arguments, Hints(foreground_mask=left, front_strokes=right))
    assert region[100:110, 250:260].all()
    assert not region[:90, 190:].any()
