"""Frames that cannot be aligned: each ends with its own sentence, none as a good alignment."""

from types import SimpleNamespace
from typing import cast

import numpy as np
import pytest
from skimage import data, transform

from blendkit.alignment.content import emptiness, neighbour_likeness
from blendkit.alignment.estimate import align
from blendkit.errors import AlignmentError, InputError
from blendkit.frame import Float, Frame
from blendkit.hints import Hints
from blendkit.repair.bridge import bridge
from blendkit.repair.job import CannotError, Job
from blendkit.settings import AlignmentSettings, MergeSettings
from blendkit.steps import clear_frame

SETTINGS = AlignmentSettings()


def _linear(name: str, size: tuple[int, int] = (400, 600)) -> Float:
    picture = transform.resize(getattr(data, name)(), size, anti_aliasing=True)
    return (picture**2.2).astype(np.float32)


@pytest.fixture(scope="module")
def coffee() -> Float:
    return _linear("coffee")


def _noise(seed: int) -> Float:
    values = np.random.default_rng(seed).normal(0.3, 0.1, (400, 600, 3))
    return np.clip(values, 0, 1).astype(np.float32)


@pytest.mark.parametrize(
    ("spoilt", "sentence"),
    [
        (np.zeros((400, 600, 3), np.float32), "is black"),
        (np.ones((400, 600, 3), np.float32), "is clipped white"),
        (np.full((400, 600, 3), 0.4, np.float32), "is one flat tone"),
        (_noise(1), "is pure noise"),
    ],
    ids=["black", "white", "flat", "noise"],
)
def test_an_empty_frame_is_named(coffee: Float, spoilt: Float, sentence: str) -> None:
    with pytest.raises(AlignmentError, match=f"the foreground frame {sentence}"):
        align(coffee, spoilt, SETTINGS)
    with pytest.raises(AlignmentError, match=f"the background frame {sentence}"):
        align(spoilt, coffee, SETTINGS)


BLACK = Frame(np.zeros((400, 600, 3), np.float32), name="third.tif")
IS_BLACK = (
    "third.tif is black (99 % of it below 0.001 of white): there is nothing to align, choose "
    "another frame"
)


def test_a_black_clear_frame_is_named_and_no_other_frame(coffee: Float) -> None:
    hints, alpha = Hints(clear=BLACK), np.zeros((400, 600), np.float32)
    clear, flags = clear_frame(Frame(coffee, name="wide.tif"), hints, MergeSettings(), alpha)
    assert clear is None
    told = [flag.message for flag in flags]
    assert told == [f"third.tif was given as clear frame and not used: {IS_BLACK}"]


def test_a_black_bridge_frame_is_named_and_no_other_frame(coffee: Float) -> None:
    merged = SimpleNamespace(settings=MergeSettings(), alignment=SimpleNamespace(model="affine"))
    job = SimpleNamespace(merged=merged, background=Frame(coffee, name="wide.tif"), bridges=[BLACK])
    with pytest.raises(CannotError) as caught:
        bridge(cast("Job", job))
    assert str(caught.value) == f"third.tif was not used: {IS_BLACK}"


def test_the_same_picture_twice_is_no_pair(coffee: Float) -> None:
    with pytest.raises(InputError, match="both frames hold the same picture"):
        align(coffee, coffee.copy(), SETTINGS)


def test_unrelated_frames_are_refused_with_what_to_try(coffee: Float) -> None:
    with pytest.raises(AlignmentError, match="--tie X,Y=X,Y") as caught:
        align(coffee, _linear("chelsea"), SETTINGS)
    assert caught.value.exit_code == 3


def test_a_mirrored_frame_is_recognised(coffee: Float) -> None:
    with pytest.raises(AlignmentError, match="mirrored"):
        align(coffee, np.ascontiguousarray(coffee[:, ::-1]), SETTINGS)


def test_an_upside_down_frame_is_recognised(coffee: Float) -> None:
    with pytest.raises(AlignmentError, match="180 degrees"):
        align(coffee, np.ascontiguousarray(coffee[::-1, ::-1]), SETTINGS)


def test_a_square_frame_turned_by_90_degrees_is_recognised() -> None:
    square = _linear("astronaut", (420, 420))
    with pytest.raises(AlignmentError, match="90 degrees"):
        align(square, np.ascontiguousarray(np.rot90(square, -1)), SETTINGS)


@pytest.mark.parametrize(
    ("shape", "sentence"),
    [
        ((600, 400), "turned by 90 degrees"),
        ((200, 300), "a reduced copy"),
        ((396, 592), "by a rim, as a camera's JPEG does from its RAW"),
        ((400, 500), "one is cropped"),
    ],
    ids=["turned", "reduced", "rim", "cropped"],
)
def test_sizes_that_differ_are_explained(shape: tuple[int, int], sentence: str) -> None:
    frames = [Frame(np.zeros((*s, 3), np.float32), name="x.tif") for s in ((400, 600), shape)]
    with pytest.raises(InputError, match=sentence):
        Hints().check(*frames)


def test_noise_and_pictures_lie_far_apart(coffee: Float) -> None:
    assert neighbour_likeness(_noise(2)[..., 0]) < 0.05
    assert neighbour_likeness(coffee[..., 0]) > 0.6
    assert emptiness(coffee[..., 0]) is None
