"""The sitter's zone goes on where both frames hold the same fine detail, and ends with her."""

import numpy as np

from blendkit.frame import Bool
from blendkit.masks.sitter import _carried_on

SHAPE = (400, 600)


def box(top: int, bottom: int, left: int, right: int) -> Bool:
    region = np.zeros(SHAPE, np.bool_)
    region[top:bottom, left:right] = True
    return region


def test_a_dress_below_a_head_is_carried_on_to() -> None:
    head, dress = box(60, 140, 260, 330), box(130, 400, 200, 390)
    wide = _carried_on(head, dress)
    assert wide[head].all()
    assert 0.75 < wide[dress].mean() < 1
    assert not (wide & ~head & ~dress).any()


def test_what_is_as_sharp_but_does_not_join_her_stays_out() -> None:
    head, other = box(60, 140, 260, 330), box(250, 400, 20, 120)
    assert (_carried_on(head, other) == head).all()


def test_a_seam_as_narrow_as_a_window_is_no_part_of_her() -> None:
    # Windows of a measurement reach past her outline all around.
    head = box(60, 340, 260, 330)
    rim = box(54, 346, 254, 336)
    assert (_carried_on(head, rim) == head).all()


def test_a_scene_that_is_sharp_in_both_frames_is_nobody() -> None:
    head = box(60, 140, 260, 330)
    assert (_carried_on(head, np.ones(SHAPE, np.bool_)) == head).all()
