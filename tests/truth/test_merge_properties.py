"""What a merge must not depend on: threads, exposure, where the frame's corner lies."""

from functools import cache

import cv2
import numpy as np

from blendkit.frame import Frame
from blendkit.hints import Hints
from blendkit.merge import Merged, merge_pair
from blendkit.simulate import SCENES, PairSpec, SimulatedPair, make_pair
from blendkit.simulate.metrics import psnr
from blendkit.simulate.rough_mask import rough_mask

SIZE = (480, 320)


@cache
def pair() -> SimulatedPair:
    spec = PairSpec(
        foreground_disc_px=(30.0, 0.8),
        background_disc_px=(12.0, 2.0),
        shift_px=(4.0, -3.0),
        iso=(100.0, 400.0),
        seed=8,
    )
    return make_pair(SCENES["twigs_against_sky"](8, SIZE), spec)


def painted() -> np.ndarray:
    return rough_mask(pair().truth.matte, seed=1, reach_px=(5.0, 9.0))


@cache
def plain() -> Merged:
    hints = Hints(foreground_mask=painted())
    return merge_pair(pair().background, pair().foreground, hints=hints)


def test_the_number_of_threads_changes_no_bit() -> None:
    threads = cv2.getNumThreads()
    try:
        cv2.setNumThreads(1 if threads > 1 else 2)
        hints = Hints(foreground_mask=painted())
        again = merge_pair(pair().background, pair().foreground, hints=hints)
    finally:
        cv2.setNumThreads(threads)
    assert np.array_equal(plain().pixels, again.pixels)
    assert np.array_equal(plain().sources, again.sources)
    assert np.array_equal(plain().alignment.matrix, again.alignment.matrix)


def test_a_darker_exposure_of_both_gives_the_darker_result() -> None:
    darker = [
        Frame((0.5 * frame.pixels).astype(np.float32), frame.capture, frame.name)
        for frame in (pair().background, pair().foreground)
    ]
    merged = merge_pair(*darker, hints=Hints(foreground_mask=painted()))
    assert psnr(2 * merged.pixels, plain().pixels) > 45


def test_both_frames_moved_alike_give_the_moved_result() -> None:
    dx, dy = 16, 8
    moved = [
        Frame(np.ascontiguousarray(frame.pixels[dy:, dx:]), frame.capture, frame.name)
        for frame in (pair().background, pair().foreground)
    ]
    mask = np.ascontiguousarray(painted()[dy:, dx:])
    merged = merge_pair(*moved, hints=Hints(foreground_mask=mask))
    inner = (slice(40, -40), slice(40, -40))
    assert psnr(merged.pixels[inner], plain().pixels[dy:, dx:][inner]) > 36
