"""Flags as numbers, boxes and label pictures."""

import numpy as np
import pytest

from blendkit.midground import Flag, Severity
from blendkit.report.labels import LARGEST_ID, box_of, flag_labels, numbered

SIZE = (40, 30)


def flag(severity: Severity, rows: slice, columns: slice, kind: str = "made-up") -> Flag:
    region = np.zeros((SIZE[1], SIZE[0]), np.bool_)
    region[rows, columns] = True
    return Flag(kind, severity, region, "something is wrong", "do something")


def test_the_loudest_flag_has_number_one_and_equals_keep_their_order() -> None:
    flags = [
        flag("note", slice(0, 2), slice(0, 2), "a"),
        flag("fail", slice(0, 2), slice(0, 2), "b"),
        flag("warn", slice(0, 2), slice(0, 2), "c"),
        flag("fail", slice(0, 2), slice(0, 2), "d"),
    ]
    assert [(number, item.kind) for number, item in numbered(flags)] == [
        (1, "b"), (2, "d"), (3, "c"), (4, "a"),
    ]  # fmt: skip


def test_where_flags_overlap_the_louder_wins() -> None:
    note, fail = (
        flag("note", slice(0, 20), slice(0, 20)),
        flag("fail", slice(10, 30), slice(10, 40)),
    )
    labels = flag_labels([note, fail], SIZE)
    assert labels.dtype == np.uint8
    assert labels.shape == (30, 40)
    assert set(labels[10:20, 10:20].ravel()) == {1}
    assert set(labels[:10, :20].ravel()) == {2}
    assert labels[0, 39] == 0
    assert np.count_nonzero(labels == 1) == fail.region.sum()


def test_of_equally_loud_flags_the_smaller_stays_visible() -> None:
    large, small = flag("warn", slice(0, 30), slice(0, 40)), flag("warn", slice(4, 6), slice(4, 6))
    for flags in ([large, small], [small, large]):
        labels = flag_labels(flags, SIZE)
        smaller = next(number for number, item in numbered(flags) if item is small)
        assert np.count_nonzero(labels == smaller) == 4


def test_a_label_picture_holds_the_loudest_255() -> None:
    flags = [flag("note", slice(29, 30), slice(0, 1)) for _ in range(300)]
    flags[280] = flag("fail", slice(0, 1), slice(0, 1))
    labels = flag_labels(flags, SIZE)
    assert labels[0, 0] == 1
    assert labels.max() <= LARGEST_ID


@pytest.mark.parametrize("seed", range(5))
def test_a_box_is_the_smallest_that_holds_its_region(seed: int) -> None:
    rng = np.random.default_rng(seed)
    region = rng.random((30, 40)) > 0.995
    box = box_of(region)
    if box is None:
        assert not region.any()
        return
    x, y, width, height = box
    inside = region[y : y + height, x : x + width]
    assert inside.sum() == region.sum()
    assert inside[0].any()
    assert inside[-1].any()
    assert inside[:, 0].any()
    assert inside[:, -1].any()


def test_an_empty_region_has_no_box() -> None:
    assert box_of(np.zeros((3, 4), np.bool_)) is None
