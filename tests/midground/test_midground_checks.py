"""Checks that need nothing but the matte and the sitter."""

import numpy as np

from blendkit.alignment import Alignment
from blendkit.midground.checks import ends_at_sitter, loosely_aligned, not_covered, nothing_found


def test_boughs_that_end_at_the_sitters_outline_are_pointed_out() -> None:
    alpha, sitter = (np.zeros((400, 600), np.float32) for _ in range(2))
    sitter[150:, 250:350] = 1
    alpha[40:46], alpha[200:208, :250], alpha[300:308, :249] = 1, 1, 1
    alpha[220:228, 350:], alpha[290:298, 356:] = 1, 1
    (flag,) = ends_at_sitter(alpha, sitter)
    assert flag.severity == "note"
    assert "in 3 places" in flag.message, "two at her left, one at her right"
    rows = np.flatnonzero(flag.region.any(axis=1))
    assert rows.min() >= 195, "a bough above her head ends nowhere"
    assert rows.max() < 315
    assert not flag.region[285:300, 352:].any(), "nor does one that stops before her"


def test_no_bough_at_the_sitter_no_finding() -> None:
    alpha, sitter = (np.zeros((400, 600), np.float32) for _ in range(2))
    alpha[40:46] = 1
    assert list(ends_at_sitter(alpha, sitter)) == []
    sitter[150:, 250:350] = 1
    assert list(ends_at_sitter(alpha, sitter)) == []


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
    assert "paint" in flag.advice
    alpha[100:110, 100:110] = 1
    assert list(nothing_found(alpha)) == []


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
