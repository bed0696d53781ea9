"""What tells refocusing from motion and shake, and one set-up from another of other colours."""

from pathlib import Path

import cv2
import numpy as np
import pytest

from blendkit.batch.choose import Cast, best_foreground
from blendkit.batch.focus import focus_states
from blendkit.batch.hues import hue_agreement, hues_of
from blendkit.batch.likeness import Likeness
from blendkit.batch.lost import lost_shares
from blendkit.batch.setups import RETURNED, UNTIMED, Likenesses, find_setups
from blendkit.batch.shots import Shot
from blendkit.frame import Capture, Float, luminance

SIZE = (160, 240)
HERE = np.eye(3)


def texture(seed: int, fine_px: float = 1.0) -> Float:
    """Return texture about 0.3, float32 (height, width), crisp at the given scale."""
    noise = np.random.default_rng(seed).normal(size=SIZE).astype(np.float32)
    crisp = cv2.GaussianBlur(noise, (0, 0), fine_px)
    return np.asarray(0.3 + 0.08 * crisp / crisp.std(), np.float32)


def disc(picture: Float, diameter_px: int) -> Float:
    """Blur as defocus does."""
    y, x = np.mgrid[:diameter_px, :diameter_px] - (diameter_px - 1) / 2
    kernel = (np.hypot(x, y) <= diameter_px / 2).astype(np.float32)
    return np.asarray(cv2.filter2D(picture, -1, kernel / kernel.sum()), np.float32)


def shaken(picture: Float, length_px: int) -> Float:
    """Blur as a camera that moved along the rows does."""
    return np.asarray(cv2.blur(picture, (length_px, 1)), np.float32)


def portrait(*, sitter_at: int = 90, sitter_px: int = 1, boughs_px: int = 15) -> Float:
    """Return boughs above, a sitter below and a soft backdrop, blurred by discs, px; 1 = crisp."""
    backdrop = disc(texture(1, 2.0), 13)
    boughs = disc(texture(2), boughs_px)
    sitter = np.roll(disc(texture(3), sitter_px), sitter_at, axis=1)
    picture = backdrop.copy()
    picture[10:60] = boughs[10:60]
    picture[80:155, sitter_at : sitter_at + 60] = sitter[80:155, sitter_at : sitter_at + 60]
    return picture


FAR = portrait()
NEAR = portrait(sitter_px=15, boughs_px=1)


def test_refocusing_loses_detail_on_both_sides() -> None:
    one, other = lost_shares(FAR, NEAR, HERE)
    assert one > 0.2
    assert other > 0.2


@pytest.mark.parametrize("moved_px", [8, 24, 50])
def test_a_sitter_who_moves_takes_her_detail_along(moved_px: int) -> None:
    # Where she stood the one frame is the sharper one, where she stands now the other is.
    one, other = lost_shares(FAR, portrait(sitter_at=90 + moved_px), HERE)
    assert max(one, other) < 0.02


def states(*smalls: Float) -> list[list[int]]:
    shots = [Shot(Path(f"{k}"), Capture(), SIZE[::-1], small) for k, small in enumerate(smalls)]
    return focus_states(shots, Likenesses())


def test_only_refocused_frames_fall_into_two_states() -> None:
    assert states(NEAR, FAR) == [[1], [0]]
    assert len(states(FAR, portrait(sitter_at=112), portrait(sitter_at=70))) == 1


@pytest.mark.parametrize("length_px", [5, 9])
def test_a_shaken_frame_has_nothing_that_the_others_lack(length_px: int) -> None:
    assert len(states(FAR, shaken(portrait(sitter_at=100), length_px))) == 1


def test_a_frame_whose_focus_was_missed_is_no_partner() -> None:
    assert len(states(FAR, disc(FAR, 11))) == 1


def coloured(seed: int, red: float, blue: float) -> Float:
    """Return FAR's light in colours that vary about the given ones, (height, width, 3)."""
    broad = cv2.GaussianBlur(np.random.default_rng(seed).normal(size=(*SIZE, 2)), (0, 0), 20)
    broad = 0.5 * broad / broad.std()
    parts = [red * 2 ** broad[..., 0], np.ones(SIZE), blue * 2 ** broad[..., 1]]
    colour = np.stack(parts, axis=-1)
    return np.asarray(FAR[..., None] * colour / luminance(colour)[..., None], np.float32)


def agreement(first: Float, second: Float) -> float:
    return hue_agreement(hues_of(first), hues_of(second), HERE, small_px=240)


def test_hues_mind_neither_blur_nor_exposure_nor_white_balance() -> None:
    frame = coloured(1, 0.8, 0.6)
    soft = np.stack([disc(frame[..., k], 15) for k in range(3)], axis=-1)
    warmer = (0.5 * soft * np.array([1.3, 1.0, 0.7])).astype(np.float32)
    assert agreement(frame, soft) > 0.95
    assert agreement(frame, warmer) > 0.9
    assert agreement(frame, coloured(2, 0.8, 0.6)) < 0.5


def test_frames_without_colour_agree() -> None:
    grey = [np.repeat(small[..., None], 3, axis=-1) for small in (FAR, NEAR)]
    assert agreement(*grey) == pytest.approx(1.0, abs=1e-3)


def test_set_ups_alike_in_grey_are_told_apart_by_colour() -> None:
    frames = [coloured(1, 0.8, 0.6), coloured(1, 0.8, 0.6), coloured(2, 0.8, 0.6)]
    shots = [
        Shot(Path(f"P{k}"), Capture(), SIZE[::-1], luminance(frame), hues_of(frame))
        for k, frame in enumerate(frames)
    ]
    found = find_setups(shots, Likenesses())
    assert [[shot.path.name for shot in setup.shots] for setup in found] == [["P0", "P1"], ["P2"]]


class Told(Likenesses):
    """Says that P0 and P2 are alike by a given evidence, and P1 like neither."""

    def __init__(self, evidence: float) -> None:
        super().__init__()
        self.evidence = evidence

    def __call__(self, first: Shot, second: Shot) -> Likeness:
        """Return it."""
        alike = "P1" not in (first.path.name, second.path.name)
        return Likeness(fine=0.0, local=self.evidence if alike else 0.0, matrix=np.eye(3))


def test_a_set_up_left_for_another_is_returned_to_only_on_more_evidence() -> None:
    def found(names: str, evidence: float) -> list[list[str]]:
        shots = [Shot(Path(f"P{k}"), Capture(), SIZE[::-1], FAR) for k in names]
        setups = find_setups(shots, Told(evidence))
        return [[shot.path.name for shot in setup.shots] for setup in setups]

    between = (UNTIMED + RETURNED) / 2
    assert found("02", between) == [["P0", "P2"]]
    assert found("012", between) == [["P0"], ["P1"], ["P2"]]
    assert found("012", RETURNED + 0.1) == [["P0", "P2"], ["P1"]]


def test_where_only_exposure_tells_the_frame_stopped_down_most_is_taken() -> None:
    def shot(name: str, iso: float) -> Shot:
        return Shot(Path(name), Capture(exposure_time_s=1 / 125, iso=iso), SIZE[::-1], FAR)

    wide, middle, stopped = shot("a", 100), shot("b", 800), shot("c", 1600)
    for foregrounds in ((middle, stopped), (stopped, middle)):
        cast = Cast("aperture", (wide,), foregrounds, (), "", 1.0)
        assert best_foreground(wide, cast, Likenesses()).shot is stopped
