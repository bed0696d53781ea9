"""The preview that follows the brush: what nobody waits for any more is given up."""

import threading
import time
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace

import cv2
import numpy as np
import pytest

from blendkit.blending import Plate
from blendkit.blending.plate import make_plate
from blendkit.errors import AlignmentError
from blendkit.frame import Capture, Float, Frame
from blendkit.masks.strokes import Stroke
from blendkit.merge import merge_pair
from blendkit.review import repaint
from blendkit.review.preview import Previewer, Small, Superseded
from blendkit.settings import ApertureSettings, MergeSettings, ViewingSettings


def small() -> Small:
    cells = np.random.default_rng(1).uniform(0.1, 0.9, (40, 60, 3)).astype(np.float32)
    wall = cv2.resize(cells, (240, 160), interpolation=cv2.INTER_CUBIC)
    return Small(Frame(wall, name="wide"), Frame(0.9 * wall, name="stopped"), 0, (240, 160))


def test_a_preview_that_nobody_waits_for_is_given_up() -> None:
    def load() -> Small:
        previewer.stop()
        return small()

    previewer = Previewer(load)
    with pytest.raises(Superseded):
        previewer.update((), (), MergeSettings())
    assert previewer.merged() is None


def test_after_that_the_next_request_is_answered() -> None:
    previewer = Previewer(small)
    previewer.stop()
    shown = previewer.update((), (), MergeSettings())
    assert shown.result.shape == (160, 240, 3)


def test_many_previews_that_wait_leave_the_server_its_threads() -> None:
    """Forty that wait for the first were all the threads that the server has."""
    begun, go_on = threading.Event(), threading.Event()

    def load() -> Small:
        begun.set()
        go_on.wait(20)
        return small()

    previewer = Previewer(load)
    with ThreadPoolExecutor(6) as pool:
        asked = [pool.submit(previewer.update, (), (), MergeSettings())]
        assert begun.wait(20)
        asked += [pool.submit(previewer.update, (), (), MergeSettings()) for _ in range(5)]
        deadline = time.monotonic() + 10
        while sum(one.done() for one in asked[1:]) < 4 and time.monotonic() < deadline:
            time.sleep(0.02)
        left = [one for one in asked[1:] if one.done()]
        go_on.set()
        assert len(left) == 4, "all but the newest have left while the first still works"
        assert all(isinstance(one.exception(), Superseded) for one in left)


def test_a_preview_that_is_refused_tells_what_to_try_on_the_page() -> None:
    rng = np.random.default_rng(5)
    frames = small()
    other = cv2.resize(rng.uniform(0.1, 0.9, (40, 60, 3)), (240, 160)).astype(np.float32)
    unlike = replace(frames, foreground=replace(frames.foreground, pixels=other))
    with pytest.raises(AlignmentError, match="tie the same points in both frames") as refused:
        Previewer(lambda: unlike).update((), (), MergeSettings())
    assert "--" not in str(refused.value)


def test_strokes_leave_the_f_number_that_was_asked_for() -> None:
    """What a stroke changes used to be composed again as the frames have it, at f/2.8."""
    frames = small()
    captures = [Capture(f_number=2.8), Capture(f_number=16)]
    wide, stopped = (
        replace(frame, capture=capture)
        for frame, capture in zip((frames.background, frames.foreground), captures, strict=True)
    )
    frames = replace(frames, background=wide, foreground=stopped)
    settings = MergeSettings(aperture=ApertureSettings(background_f=8))
    strokes = (Stroke(((60.0, 80.0), (120.0, 80.0)), 12.0, "foreground"),)
    previewer = Previewer(lambda: frames)
    previewer.update((), (), settings)
    previewer.update(strokes, (), settings)
    shown = previewer.merged()
    whole = merge_pair(wide, stopped, hints=frames.hints(strokes, ()), settings=settings)
    assert shown is not None
    assert np.array_equal(shown.pixels, whole.pixels)
    previewer.update(strokes, (), settings)
    assert previewer.merged() is shown


def test_what_a_stroke_changes_knows_which_frame_is_sharper_behind(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """As the merge does: else the spread background of a focus pair's other frame is laid in."""
    wall = small().background.pixels
    near = cv2.GaussianBlur(wall, (0, 0), 3)
    bough = np.zeros((160, 240, 1), np.float32)
    bough[:, 100:112] = 1
    veil = cv2.blur(bough, (31, 31))[..., None]
    near += bough * (0.02 - near)
    frames = Small(
        Frame(wall + veil * (0.02 - wall), name="far"),
        Frame(near, name="near"),
        0,
        (240, 160),
        aligned=True,
    )
    told: list[float] = []

    def noted(*known: object, sharpness: Float, **more: object) -> Plate:
        told.append(float(np.median(sharpness)))
        return make_plate(*known, sharpness=sharpness, **more)  # type: ignore[arg-type]

    monkeypatch.setattr(repaint, "make_plate", noted)
    previewer = Previewer(lambda: frames)
    stroke = Stroke(((106.0, 40.0), (106.0, 120.0)), 8.0, "foreground")
    previewer.update((stroke,), (), MergeSettings())
    assert told
    assert 4 < told[0] < 20, "a Gaussian of 3 px is about as soft as a disc of 12"


def test_a_mark_takes_no_turn_and_shows_what_is_set_now() -> None:
    previewer = Previewer(small)
    turns = previewer._newest
    first = previewer.current((), (), MergeSettings())
    assert previewer._newest == turns, "a preview under way is not given up for it"
    assert previewer.current((), (), MergeSettings()).pixels is first.pixels
    changed = MergeSettings(viewing=ViewingSettings(print_width_cm=20))
    assert previewer.current((), (), changed).settings.viewing.print_width_cm == 20
