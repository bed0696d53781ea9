"""Checks that need nothing but the matte and the sitter."""

from dataclasses import replace

import cv2
import numpy as np
import pytest

from blendkit.alignment import Alignment
from blendkit.frame import Capture, Frame
from blendkit.midground import Flag
from blendkit.midground.checks import (
    advice_for_sharpness,
    ends_at_sitter,
    loosely_aligned,
    not_covered,
    nothing_found,
    soft_foreground,
    veil_on_sitter,
)
from blendkit.settings import ViewingSettings


def test_boughs_that_end_at_the_sitters_outline_are_pointed_out() -> None:
    alpha, hers = np.zeros((400, 600), np.float32), np.zeros((400, 600), np.bool_)
    hers[150:, 250:350] = True
    alpha[40:46], alpha[200:208, :250], alpha[300:308, :249] = 1, 1, 1
    alpha[220:228, 350:], alpha[290:298, 356:] = 1, 1
    (flag,) = ends_at_sitter(alpha, hers)
    assert flag.severity == "note"
    assert "in 3 places" in flag.message, "two at her left, one at her right"
    rows = np.flatnonzero(flag.region.any(axis=1))
    assert rows.min() >= 195, "a bough above her head ends nowhere"
    assert rows.max() < 315
    assert not flag.region[285:300, 352:].any(), "nor does one that stops before her"


def test_no_bough_at_the_sitter_no_finding() -> None:
    alpha, hers = np.zeros((400, 600), np.float32), np.zeros((400, 600), np.bool_)
    alpha[40:46] = 1
    assert list(ends_at_sitter(alpha, hers)) == []
    hers[150:, 250:350] = True
    assert list(ends_at_sitter(alpha, hers)) == []


def alignment(uncertainty_px: float) -> Alignment:
    nowhere = np.zeros((4, 6), np.float32)
    return Alignment(
        np.eye(3), "similarity", 0.5, uncertainty_px, 0.99, 0.9, 0.0, 0.3, nowhere, 100
    )


def test_frames_that_lie_on_each_other_only_roughly_are_flagged() -> None:
    assert list(loosely_aligned(alignment(0.5), (800, 1200))) == []
    (flag,) = loosely_aligned(alignment(2.1), (800, 1200))
    assert (flag.kind, flag.severity) == ("loosely-aligned", "warn")
    assert "2.1 px" in flag.message
    assert list(loosely_aligned(alignment(2.1), (4000, 6000))) == []


def test_a_merge_that_took_nothing_says_so() -> None:
    alpha = np.zeros((400, 600), np.float32)
    (flag,) = nothing_found(alpha)
    assert (flag.kind, flag.severity) == ("nothing-found", "warn")
    assert "the result is the background frame" in flag.message
    assert "paint" in flag.advice
    alpha[50:53, 100:106] = 1
    (flag,) = nothing_found(alpha)
    assert "0.0075 % of the picture is taken" in flag.message
    assert np.array_equal(flag.region, alpha > 0)
    alpha[100:110, 100:110] = 1
    assert list(nothing_found(alpha)) == []


def test_soft_boughs_are_as_loud_as_the_print_shows_them() -> None:
    """A disc of 9 px of 6000: from 50 cm, 2.25 times what is just visible at 60 x 40 cm."""
    frame = Frame(np.zeros((400, 600, 3), np.float32), Capture(f_number=8.0), "stopped")
    wide = replace(frame, pixels=np.broadcast_to(np.float32(0), (4000, 6000, 3)))
    alpha = np.ones((4, 6), np.float32)

    def told(width_cm: float, viewing_cm: float) -> list[Flag]:
        viewing = ViewingSettings(width_cm, 2 * width_cm / 3, viewing_cm)
        return list(soft_foreground(wide, alpha, 9.0, viewing))

    loud = {cm: [flag.severity for flag in told(60, cm)] for cm in (40, 50, 80, 120)}
    assert loud == {40: ["fail"], 50: ["warn"], 80: ["note"], 120: []}
    assert told(20, 50) == [], "on a small print it is sharp"
    (flag,) = told(60, 50)
    assert "stop down to about f/18" in flag.advice, "f/8 times 9 / 4"
    (flag,) = told(60, 40)
    assert "stop down to about f/22" in flag.advice, "f/8 times 9 / 3.2 is 22.5, f/22 means 22.6"
    (flag,) = told(60, 35)
    assert "f/8 cannot hold it" in flag.advice, "f/8 times 9 / 2.8 is 25.7, beyond f/22"


@pytest.mark.parametrize(
    ("own", "excess", "cure"),
    [(1.2, 1.2, "f/1.6"), (2.0, 1.2, "f/2.5"), (2.8, 1.1, "f/3.2"), (16.0, 1.02, "f/18")],
)
def test_soft_boughs_are_told_an_engraved_f_number_past_the_frames_own(
    own: float, excess: float, cure: str
) -> None:
    """f/1.2 means 1.26, times 1.2 is 1.51; the next mark, f/1.6, means 1.59."""
    assert f"about {cure}," in advice_for_sharpness(Capture(f_number=own), excess)


def test_the_rim_that_resampling_takes_is_no_matter_of_framing() -> None:
    footprint = np.zeros((400, 600), np.bool_)
    footprint[3:-4, 4:-4] = True
    (flag,) = not_covered(footprint)
    assert "rim that resampling takes" in flag.advice
    assert "wider" not in flag.advice
    footprint[:, :20] = False
    (flag,) = not_covered(footprint)
    assert "frame a little wider" in flag.advice
    assert list(not_covered(np.ones((400, 600), np.bool_))) == []


def test_the_veil_of_boughs_painted_across_the_sitter_is_told() -> None:
    alpha, sitter = np.zeros((400, 600), np.float32), np.zeros((400, 600), np.float32)
    drawn = np.zeros((400, 600), np.bool_)
    drawn[100:, 200:400] = True
    alpha[:, 290:310] = 1  # a bough across her, its disc 80 px, painted 5 px past it
    sitter[drawn] = 1
    sitter[:, 285:315] = 0
    coverage = cv2.blur(alpha, (80, 80))
    (flag,) = veil_on_sitter(coverage, alpha, sitter, drawn, [30.0, 80.0])
    assert (flag.kind, flag.severity) == ("veil-on-sitter", "note")
    assert "paint 40 px past them" in flag.advice
    beside = np.zeros_like(drawn)
    beside[:, 250:350] = True
    assert not (flag.region & ~(beside & drawn & (sitter > 0))).any()
    assert flag.region.sum() > 0.6 * (beside & drawn & (sitter > 0)).sum()
    sitter[:, 245:355] = 0  # painted widely enough
    assert list(veil_on_sitter(coverage, alpha, sitter, drawn, [30.0, 80.0])) == []
    unpainted = np.where(drawn, np.float32(0), alpha)
    sitter[drawn] = 1
    assert (
        list(veil_on_sitter(cv2.blur(unpainted, (80, 80)), unpainted, sitter, drawn, [80.0])) == []
    )
