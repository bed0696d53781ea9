"""The places of a finding: far pieces are places of their own, neighbours are one."""

from pathlib import Path

import numpy as np

from blendkit.files import write_labels
from blendkit.review.spots import MOST_SPOTS, spots_of

SIZE = (600, 400)


def test_pieces_far_apart_are_places_and_neighbours_one(tmp_path: Path) -> None:
    labels = np.zeros(SIZE[::-1], np.uint8)
    labels[20:40, 30:50] = 1
    labels[300:360, 500:580] = 1
    labels[300:360, 490:497] = 1  # 3 px beside it
    labels[100:110, 100:120] = 2
    write_labels(tmp_path / "a.flags.png", labels)
    found = spots_of(tmp_path / "a.flags.png", SIZE)
    assert found == {
        1: [(490, 300, 90, 60), (30, 20, 20, 20)],
        2: [(100, 100, 20, 10)],
    }


def test_boxes_are_in_px_of_the_full_picture(tmp_path: Path) -> None:
    labels = np.zeros((4000, 6000), np.uint8)
    labels[1000:1400, 2000:2800] = 3
    write_labels(tmp_path / "a.flags.png", labels)
    ((x, y, width, height),) = spots_of(tmp_path / "a.flags.png", (6000, 4000))[3]
    assert np.abs(np.subtract((x, y, width, height), (2000, 1000, 800, 400))).max() <= 8


def test_a_new_picture_of_flags_is_read_anew_and_none_is_none(tmp_path: Path) -> None:
    path = tmp_path / "a.flags.png"
    assert spots_of(path, SIZE) == {}
    rng = np.random.default_rng(0)
    labels = np.zeros(SIZE[::-1], np.uint8)
    labels[rng.integers(0, 400, 300), rng.integers(0, 600, 300)] = 1
    write_labels(path, labels)
    assert len(spots_of(path, SIZE)[1]) == MOST_SPOTS
    write_labels(path, np.zeros_like(labels))
    assert spots_of(path, SIZE) == {}
