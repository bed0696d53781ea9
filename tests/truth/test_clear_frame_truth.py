"""A clear frame, the foreground held aside, against the exact truth of a simulated pair."""

from dataclasses import replace
from functools import cache

import cv2
import numpy as np
import pytest
from skimage.transform import AffineTransform, warp

from blendkit.errors import InputError
from blendkit.frame import Frame, Source, luminance
from blendkit.hints import Hints
from blendkit.merge import merge_pair
from blendkit.settings import MergeSettings
from blendkit.simulate import SCENES, PairSpec, SimulatedPair, make_pair
from blendkit.simulate.metrics import psnr, regions
from blendkit.simulate.rough_mask import rough_mask
from blendkit.steps import clear_frame as clear_frame_of

SIZE = (480, 320)


@cache
def pair() -> SimulatedPair:
    spec = PairSpec(
        foreground_disc_px=(48.0, 0.8),
        background_disc_px=(14.0, 2.4),
        shift_px=(-4.0, 2.4),
        iso=(100.0, 400.0),
        seed=6,
    )
    return make_pair(SCENES["thin_boughs_over_woods"](6, SIZE), spec)


def clear_frame(found: SimulatedPair) -> Frame:
    """Return the plate, a few px beside the background frame, darker, with noise of its own."""
    moved = warp(found.truth.plate, AffineTransform(translation=(3.3, -1.7)), order=3, mode="edge")
    noise = np.random.default_rng(3).normal(0, 0.001, moved.shape)
    return Frame(np.clip(0.9 * moved + noise, 0, 1).astype(np.float32), name="aside.tif")


def painted(found: SimulatedPair) -> Hints:
    return Hints(foreground_mask=rough_mask(found.truth.matte, seed=1, reach_px=(5.0, 10.0)))


def test_a_clear_frame_gives_the_plate_where_the_veil_lies() -> None:
    found = pair()
    hints = painted(found)
    without = merge_pair(found.background, found.foreground, hints=hints)
    merged = merge_pair(
        found.background, found.foreground, hints=replace(hints, clear=clear_frame(found))
    )
    halo = regions(found.truth)["halo"] & (merged.sitter <= 0)
    before, after = (psnr(m.pixels, found.truth.composite, region=halo) for m in (without, merged))
    # Both carry the same pasted twigs, whose errors the clear frame cannot mend.
    assert before + 0.5 < after < 60
    unpasted = halo & (merged.matte.alpha <= 0.02) & (without.matte.alpha <= 0.02)
    before, after = (
        psnr(m.plate.pixels, found.truth.plate, region=unpasted) for m in (without, merged)
    )
    assert max(before + 1, 43) < after < 60
    assert (merged.sources == Source.CLEAR_FRAME).mean() > 0.2
    away = cv2.dilate(hints.foreground_mask, np.ones((61, 61))) == 0
    assert np.array_equal(merged.pixels[away], found.background.pixels[away])


@pytest.mark.parametrize("gain", [0.5, 2.0])
def test_a_clear_frame_in_other_light_is_brought_to_the_background_frames(gain: float) -> None:
    """The veil, which one frame has and the other has not, is no light; nor is clipped sky grey."""
    scene = SCENES["twigs_against_sky"](2, SIZE)
    sky = make_pair(scene, PairSpec(seed=2, foreground_disc_px=(48.0, 0.8), samples=60))
    noise = np.random.default_rng(3).normal(0, 0.001, sky.truth.plate.shape)
    taken = np.clip(gain * sky.truth.plate + noise, 0, 1).astype(np.float32)
    clear, flags = clear_frame_of(
        sky.background,
        Hints(clear=Frame(taken, name="aside.tif"), aligned=True),
        MergeSettings(),
        sky.truth.matte,
    )
    assert clear is not None
    assert not flags
    veiled = clear.footprint & (sky.truth.veil_coverage > 0.03)
    assert veiled.mean() > 0.05
    error_ev = np.log2(luminance(clear.pixels)[veiled] / luminance(sky.truth.plate)[veiled])
    assert np.abs(np.median(error_ev)) < 0.01
    assert np.percentile(np.abs(error_ev), 98) < 0.08


def test_a_clear_frame_of_another_place_is_left_out_and_flagged() -> None:
    found = pair()
    other = SCENES["twigs_against_sky"](9, SIZE)
    stranger = make_pair(other, PairSpec(seed=9, samples=60)).background
    hints = replace(painted(found), clear=replace(stranger, name="elsewhere.tif"))
    merged = merge_pair(found.background, found.foreground, hints=hints)
    kinds = {flag.kind: flag for flag in merged.flags}
    assert "elsewhere.tif" in kinds["clear-not-used"].message
    assert not (merged.sources == Source.CLEAR_FRAME).any()


def test_a_clear_frame_of_another_size_is_refused() -> None:
    found = pair()
    small = Frame(found.background.pixels[:-8], name="small.tif")
    with pytest.raises(InputError, match=r"small\.tif is 480x312"):
        merge_pair(found.background, found.foreground, hints=Hints(clear=small))
