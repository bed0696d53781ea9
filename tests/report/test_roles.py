"""Which frame is the background frame: by f-number, by focus, by what is sharp, or a question."""

from dataclasses import replace

import numpy as np
import pytest

from blendkit.errors import InputError
from blendkit.frame import Capture, Frame
from blendkit.roles import decide_roles, sharper_share
from blendkit.simulate import SCENES, PairSpec, make_pair


def frame(seed: int = 0, **capture: float) -> Frame:
    pixels = np.random.default_rng(seed).random((60, 90, 3)).astype(np.float32)
    return Frame(pixels, Capture(**capture), name=f"frame{seed}.tif")  # type: ignore[arg-type]


def focus_pair(name: str, seed: int) -> tuple[Frame, Frame]:
    """Return (focused on the sitter, focused on the boughs), at f/2.8, without tags for focus."""
    scene = SCENES[name](seed=seed, size=(360, 240))
    near = min(layer.distance_m for layer in scene.layers)
    spec = PairSpec(
        f_number=(2.8, 2.8),
        focus_distance_m=(None, near),
        shift_px=(3.0, -2.0),
        scale=1.01,
        seed=seed,
    )
    pair = make_pair(scene, spec)
    far, close = (
        replace(item, capture=replace(item.capture, focus_distance_m=None))
        for item in (pair.background, pair.foreground)
    )
    return far, close


@pytest.mark.parametrize(("first", "second"), [(2.8, 16.0), (1.4, 2.0), (4.0, 5.0)])
def test_the_smaller_f_number_is_the_background_frame(first: float, second: float) -> None:
    wide, stopped = frame(0, f_number=first), frame(1, f_number=second)
    assert decide_roles(wide, stopped).background == 0
    assert decide_roles(stopped, wide).background == 1
    assert "frame0.tif" in decide_roles(stopped, wide).reason


def test_f_number_wins_over_focus_distance() -> None:
    wide = frame(0, f_number=2.8, focus_distance_m=2.0)
    stopped = frame(1, f_number=16.0, focus_distance_m=6.0)
    assert decide_roles(wide, stopped).background == 0


def test_at_one_aperture_the_recorded_focus_tells() -> None:
    near = frame(0, f_number=2.8, focus_distance_m=2.5)
    far = frame(1, f_number=2.8, focus_distance_m=6.0)
    assert decide_roles(near, far).background == 1
    assert decide_roles(far, near).background == 0


@pytest.mark.parametrize("name", ["thin_boughs_over_woods", "thick_boughs", "sitter_beside_twigs"])
def test_at_one_aperture_the_pixels_tell(name: str) -> None:
    far, near = focus_pair(name, seed=1)
    found = decide_roles(far, near)
    assert found.background == 0
    assert decide_roles(near, far).background == 1
    assert 0.75 <= found.certainty < 1
    assert sharper_share(far, near) == pytest.approx(-sharper_share(near, far), abs=1e-6)


@pytest.mark.parametrize("tags", [{}, {"f_number": 2.8}])
def test_what_stays_open_is_asked(tags: dict[str, float]) -> None:
    """No f-numbers at all; or one f-number and two frames that are alike."""
    with pytest.raises(InputError, match="--background FILE --foreground FILE"):
        decide_roles(frame(0, **tags), frame(0, **tags))


def test_tags_that_contradict_clear_pixels_are_asked() -> None:
    far, near = focus_pair("sitter_beside_twigs", seed=1)
    wrong_far = replace(far, capture=replace(far.capture, focus_distance_m=2.0))
    wrong_near = replace(near, capture=replace(near.capture, focus_distance_m=9.0))
    with pytest.raises(InputError, match="is recorded as focused at 9 m"):
        decide_roles(wrong_far, wrong_near)
