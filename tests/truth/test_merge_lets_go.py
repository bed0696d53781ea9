"""The merge lets go of the foreground frame's light once it is laid on the background frame."""

import weakref

import numpy as np

from blendkit.files.profiles import srgb
from blendkit.frame import Embedded, Frame
from blendkit.hints import Hints
from blendkit.merge import merge_pair
from blendkit.report.inputs import Pair
from blendkit.simulate import SCENES, PairSpec, make_pair
from blendkit.simulate.rough_mask import rough_mask

SIZE = (240, 160)


def test_the_foreground_frame_is_gone_when_the_matte_is_sought() -> None:
    spec = PairSpec(foreground_disc_px=(14, 0.5), background_disc_px=(6, 1), seed=2)
    made = make_pair(SCENES["thick_boughs"](2, SIZE), spec)
    painted = rough_mask(made.truth.matte, seed=2)
    frame = Frame(made.foreground.pixels.copy(), made.foreground.capture, "stopped.tif")
    pair = Pair(made.background, frame)
    light = weakref.ref(frame.pixels)
    del frame
    alive = {}

    def told(stage: str, _share: float, /) -> None:
        alive[stage] = light() is not None

    merge_pair(pair.background, pair.hand_over(), hints=Hints(painted), progress=told)
    assert alive["alignment"]
    assert not alive["matte"]


def test_what_is_kept_of_a_frame_says_the_same_but_shows_nothing() -> None:
    frame = Frame(np.ones((40, 60, 3), np.float32), name="a.tif", embedded=Embedded(srgb()))
    pair = Pair(frame, frame)
    assert pair.hand_over() is frame
    assert pair.foreground.size == (60, 40)
    assert (pair.foreground.name, pair.foreground.embedded) == ("a.tif", frame.embedded)
    assert np.isnan(pair.foreground.pixels).all()
    assert pair.foreground.pixels.strides == (0, 0, 0)
