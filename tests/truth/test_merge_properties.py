"""What a merge must not depend on: threads, exposure, depth, how the file lies, its corner."""

from functools import cache
from pathlib import Path

import cv2
import numpy as np
import tifffile

from blendkit.files import read_frame
from blendkit.frame import Frame
from blendkit.hints import Hints
from blendkit.merge import Merged, merge_pair
from blendkit.simulate import SCENES, PairSpec, SimulatedPair, make_pair
from blendkit.simulate.metrics import psnr
from blendkit.simulate.rough_mask import rough_mask

SIZE = (360, 240)


@cache
def pair() -> SimulatedPair:
    spec = PairSpec(
        foreground_disc_px=(24.0, 0.8),
        background_disc_px=(9.0, 1.5),
        shift_px=(3.0, -2.0),
        iso=(100.0, 400.0),
        seed=8,
    )
    return make_pair(SCENES["twigs_against_sky"](8, SIZE), spec)


def painted() -> np.ndarray:
    return rough_mask(pair().truth.matte, seed=1, reach_px=(4.0, 7.0))


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


def test_a_frame_merged_with_itself_gives_itself_back() -> None:
    """By default the same picture given twice is refused; laid on itself on purpose, it stays."""
    frame = pair().background
    assert np.array_equal(merge_pair(frame, frame, hints=Hints(aligned=True)).pixels, frame.pixels)
    hints = Hints(aligned=True, foreground_mask=painted())
    merged = merge_pair(frame, frame, hints=hints)
    assert np.array_equal(merged.pixels[painted() == 0], frame.pixels[painted() == 0])
    assert np.percentile(np.abs(merged.pixels - frame.pixels)[painted() > 0], 99) < 0.02


def from_files(folder: Path, kind: str, *, turned: bool = False) -> list[Frame]:
    """Write the pair with a depth, perhaps lying on its side with the tag that says so; read it."""
    frames = []
    for name, frame in (("wide", pair().background), ("stopped", pair().foreground)):
        encoded = np.clip(frame.pixels, 0, 1) ** (1 / 2.2)
        codes = encoded.astype(np.float32)
        if kind != "float32":
            top = np.iinfo(kind).max
            codes = np.round(encoded * top).astype(kind)
        # Orientation 6: the camera's top row is the picture's right side (TIFF 6.0, tag 274).
        stored = np.ascontiguousarray(np.rot90(codes)) if turned else codes
        path = folder / f"{name}-{kind}-{turned}.tif"
        orientation = [(274, "H", 1, 6, True)] if turned else []
        tifffile.imwrite(path, stored, photometric="rgb", extratags=orientation)
        frames.append(read_frame(path))
    return frames


def test_orientation_changes_nothing_and_depth_nothing_beyond_rounding(tmp_path: Path) -> None:
    upright = from_files(tmp_path, "uint16")
    for one, other in zip(upright, from_files(tmp_path, "uint16", turned=True), strict=True):
        assert np.array_equal(one.pixels, other.pixels)  # so the merge is the same
    for one, other in zip(upright, from_files(tmp_path, "float32"), strict=True):
        assert 0 < np.abs(one.pixels - other.pixels).max() < 3e-5  # so it is within rounding
    hints = Hints(foreground_mask=painted())
    deep, shallow = (
        merge_pair(*frames, hints=hints).pixels
        for frames in (upright, from_files(tmp_path, "uint8"))
    )
    assert 38 < psnr(shallow, deep) < 80


def test_the_gain_of_one_frame_changes_little() -> None:
    """What is left is the light fit's own error, 0.01 EV, and the darker frame's grain."""
    half = Frame(
        (0.5 * pair().foreground.pixels).astype(np.float32), pair().foreground.capture, "darker"
    )
    merged = merge_pair(pair().background, half, hints=Hints(foreground_mask=painted()))
    assert psnr(merged.pixels, plain().pixels) > 42
