"""Whether a pair has one focus or two is told from its relative blur."""

import numpy as np
import pytest

from blendkit.alignment.warp import warp_to_background
from blendkit.frame import Capture
from blendkit.masks.pair_focus import refocused
from blendkit.settings import SharpnessSettings
from blendkit.sharpness import RelativeBlur
from blendkit.sharpness.relative import relative_blur
from blendkit.simulate import PairSpec, make_pair
from blendkit.simulate.scenes import thick_boughs

_SIZE = (900, 600)
_UNRECORDED = Capture(), Capture()


@pytest.mark.parametrize(
    ("sitter_px", "background_px", "somebody", "two_foci"),
    [
        ((0.5, 1.0), (20.0, 3.0), True, False),
        ((0.5, 6.0), (20.0, 9.0), True, True),
        ((0.5, 1.0), (20.0, 3.0), False, False),
        ((0.5, 6.0), (20.0, 9.0), False, False),
    ],
)
def test_somebody_in_the_picture_tells_a_refocused_frame(
    sitter_px: tuple[float, float],
    background_px: tuple[float, float],
    somebody: bool,
    two_foci: bool,
) -> None:
    spec = PairSpec(
        foreground_disc_px=(45.0, 1.0),
        sitter_disc_px=sitter_px,
        background_disc_px=background_px,
        gain=1.0,
        seed=2,
    )
    taken = make_pair(thick_boughs(2, _SIZE, sitter=somebody), spec)
    sharp_frame = warp_to_background(taken.foreground.pixels, taken.truth.warp, _SIZE).pixels
    everywhere = np.ones(_SIZE[::-1], np.bool_)
    frames = taken.background.pixels, sharp_frame
    blur = relative_blur(*frames, everywhere, SharpnessSettings(), grain=(0.002, 0.004))
    assert refocused(blur, _UNRECORDED) is two_foci


def test_where_no_blur_is_measured_the_ordinary_pair_is_assumed() -> None:
    blind = RelativeBlur(np.full((60, 90), 20, np.float32), np.zeros((60, 90), np.float32), 10)
    assert not refocused(blind, _UNRECORDED)


@pytest.mark.parametrize(
    ("near_m", "two_foci"), [(2.5, True), (4.0, True), (4.9, False), (5.0, False), (None, False)]
)
def test_recorded_distances_tell_two_foci_where_blur_does_not(
    near_m: float | None, two_foci: bool
) -> None:
    # Thin lens: 135 mm at f/5.6 focused at 4 m spreads what stands at 5 m over 0.168 mm, 5.6 px of
    # 1200 on 36 mm; focused at 4.9 m over 0.014 mm.  At 5 m the two are one focus.
    blind = RelativeBlur(np.full((80, 120), 20, np.float32), np.zeros((80, 120), np.float32), 10)
    far, near = (
        Capture(f_number=5.6, focal_length_mm=135, focus_distance_m=m) for m in (5.0, near_m)
    )
    assert refocused(blind, (far, near)) is two_foci
