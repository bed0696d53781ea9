"""Poses, bridge frames, counters that begin anew and files of several kinds in one shoot."""

import json
from dataclasses import replace
from datetime import datetime, timedelta
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from blendkit.batch.choose import cast_of
from blendkit.batch.found import FoundPair
from blendkit.batch.lend import _painted, lent_hints
from blendkit.batch.names import is_file_name, uniquely_named
from blendkit.batch.pairs_file import Pair
from blendkit.batch.run import Order, _lenders
from blendkit.batch.setups import Likenesses, SetUp, in_order
from blendkit.batch.shots import Shot, read_shots
from blendkit.files import write_picture
from blendkit.frame import Capture, Frame
from blendkit.hints import Hints
from blendkit.masks.strokes import Role, Stroke, strokes_document
from blendkit.report.inputs import Pair as ReadPair
from blendkit.sidecar import Sidecar, sidecar_path, write_sidecar

START = datetime(2026, 11, 30, 15, 0, 0)  # noqa: DTZ001 - as most cameras write it
SIZE = (60, 40)


def shot(name: str, second: float = 0, **recorded: float) -> Shot:
    capture = Capture(captured_at=START + timedelta(seconds=second), **recorded)  # type: ignore[arg-type]
    return Shot(Path(name), capture, SIZE, np.full(SIZE[::-1], 0.2, np.float32))


def cast(distances_m: list[float]) -> tuple[list[str], list[str]]:
    """Return names of backgrounds and bridges of wide frames focused so, and one stopped down."""
    wide = [shot(f"w{k}", k, f_number=2.0, focus_distance_m=d) for k, d in enumerate(distances_m)]
    stopped = shot("s", 99, f_number=16.0, focus_distance_m=2.0)
    found = cast_of(SetUp([*wide, stopped]), Likenesses())
    assert found is not None
    return [s.path.name for s in found.backgrounds], [s.path.name for s in found.bridges]


def test_a_sitter_who_steps_nearer_stays_a_pose() -> None:
    backgrounds, bridges = cast([3.0, 3.0, *[2.5] * 8])
    assert backgrounds == [f"w{k}" for k in range(10)]
    assert bridges == []


def test_a_frame_alone_at_its_distance_is_a_bridge() -> None:
    assert cast([4.0, 4.0, 2.6]) == (["w0", "w1"], ["w2"])
    assert cast([4.0, 3.0, 2.5]) == (["w0"], ["w1", "w2"])


def cast_names(shots: list[Shot]) -> tuple[list[str], list[str], list[str]]:
    """Return names of backgrounds, foregrounds and bridges."""
    found = cast_of(SetUp(shots), Likenesses())
    assert found is not None
    roles = found.backgrounds, found.foregrounds, found.bridges
    names = [sorted(s.path.name for s in role) for role in roles]
    return names[0], names[1], names[2]


def as_planned(*frames: tuple[float, float]) -> list[Shot]:
    """Return shots a, b, c... of (f-number, focus distance m), as the plan's card lists them."""
    return [
        shot("abcdefghi"[k], 4 * k, f_number=f_number, focus_distance_m=distance_m)
        for k, (f_number, distance_m) in enumerate(frames)
    ]


def test_a_bridge_frame_stopped_down_as_far_as_the_foreground_frame_is_none() -> None:
    bridges = [(16.0, d) for d in (2.44, 2.73, 3.09, 3.57, 4.22, 5.18)]
    found = cast_names(as_planned((2.8, 6.0), (16.0, 2.2), (16.0, 2.2), *bridges))
    assert found == (["a"], ["b", "c"], list("defghi"))


@pytest.mark.parametrize("foreground_f", [8.0, 16.0])
def test_a_bridge_frame_stopped_down_farther_than_the_foreground_frame_is_none(
    foreground_f: float,
) -> None:
    near = foreground_f, 2.2
    found = cast_names(as_planned((2.8, 6.0), near, near, (22.0, 3.57)))
    assert found == (["a"], ["b", "c"], ["d"])


def test_frames_stopped_down_between_two_distances_are_bridges_of_a_focus_pair() -> None:
    bridges = [(16.0, 2.5), (16.0, 3.21), (16.0, 4.5)]
    found = cast_names(as_planned((2.8, 6.0), (2.8, 2.2), (2.8, 2.2), *bridges))
    assert found == (["a"], ["b", "c"], ["d", "e", "f"])
    nearest = cast_names(as_planned((2.8, 6.0), (2.8, 2.5), (16.0, 2.2)))
    assert nearest == (["a"], ["c"], ["b"])


def test_frames_stopped_down_of_unknown_focus_may_be_bridges_and_that_is_said() -> None:
    def found(stopped: int) -> tuple[str, float]:
        frames = [shot("w", 0, f_number=2.8)]
        frames += [shot(f"s{k}", 4 * k, f_number=16.0) for k in range(1, stopped + 1)]
        cast = cast_of(SetUp(frames), Likenesses())
        assert cast is not None
        return cast.evidence, cast.certainty

    assert found(2) == ("f/2.8 against f/16", 1.0)
    evidence, certainty = found(4)
    assert "list bridges in pairs.toml yourself" in evidence
    assert certainty == 0.5


def test_poses_at_a_slightly_different_aperture_are_poses() -> None:
    f_numbers = [2.8, 4.0, 4.0, 4.0, 4.0, 4.0, 16.0]
    shots = [shot(f"p{k}", k, f_number=f) for k, f in enumerate(f_numbers)]
    assert cast_names(shots) == ([f"p{k}" for k in range(6)], ["p6"], [])
    f_numbers = [2.8, 2.8, 2.8, 11.0, 16.0, 22.0]
    shots = [shot(f"p{k}", k, f_number=f) for k, f in enumerate(f_numbers)]
    assert cast_names(shots) == (["p0", "p1", "p2"], ["p4", "p5"], ["p3"])


def test_a_row_of_third_stops_is_no_one_aperture() -> None:
    row = (2.8, 3.5, 4.5, 5.6, 7.1, 9.0, 11.0, 14.0, 16.0)
    backgrounds, foregrounds, bridges = cast_names(
        [shot(f"p{k}", k, f_number=f) for k, f in enumerate(row)]
    )
    assert "p0" in backgrounds
    assert "p8" in foregrounds
    assert bridges


def test_a_count_that_begins_anew_keeps_the_order_and_a_clock_set_back_too() -> None:
    names = ["IMG_9998", "IMG_9999", "IMG_0001", "IMG_0002", "IMG_0003"]
    taken = [shot(name, k) for k, name in enumerate(names)]
    assert [s.path.name for s in in_order(taken[::-1])] == names
    back = [shot(name, k) for name, k in zip(sorted(names), (3, 4, 5, 1, 2), strict=True)]
    assert [s.path.name for s in in_order(back)] == names
    counted = [shot(f"IMG_000{k}", second) for k, second in ((1, 10), (2, 20), (3, 2), (4, 12))]
    assert [s.path.name for s in in_order(counted)] == [s.path.name for s in counted]


@pytest.mark.parametrize("size", [(900, 600), (1201, 797)])
def test_frames_of_one_size_are_compared_at_one_size_whatever_their_kind(
    tmp_path: Path, size: tuple[int, int]
) -> None:
    """A JPEG is decoded at a scale that suits its blocks, a TIFF reduced by a whole factor."""
    ramp = np.linspace(0.02, 0.8, size[0], dtype=np.float32)
    pixels = np.ascontiguousarray(np.broadcast_to(ramp[None, :, None], (size[1], size[0], 3)))
    write_picture(tmp_path / "a.tif", pixels, like=Frame(pixels))
    codes = np.rint(255 * np.clip(pixels, 0, 1) ** (1 / 2.2)).astype(np.uint8)
    Image.fromarray(codes).save(tmp_path / "b.jpg", quality=95)
    shots, unread = read_shots([tmp_path / "a.tif", tmp_path / "b.jpg"])
    assert not unread
    one, other = (found.small for found in shots)
    assert one.shape == other.shape
    assert np.abs(one - other).max() < 0.02


def test_names_that_no_file_can_have_are_written_so_that_the_list_can_be_read() -> None:
    frame = Path("shoot") / "12:30 a.tif"
    pairs = [
        FoundPair(name, "aperture", 1, frame, frame.with_name("s.tif"), (), 1.0, "")
        for name in ("12:30 a", "12-30 a", "x" * 250)
    ]
    names = [pair.name for pair in uniquely_named(pairs)]
    assert all(is_file_name(name) for name in names)
    assert len(set(names)) == 3


@pytest.mark.parametrize(("painted", "lends"), [(None, True), (SIZE, False)])
def test_strokes_that_the_page_erased_are_not_lent(
    tmp_path: Path, painted: tuple[int, int] | None, lends: bool
) -> None:
    """A sidecar that knows a size has been painted in; the list's file is what came before."""
    drawn = [Stroke(((5.0, 5.0), (30.0, 5.0)), 6.0, "foreground")]
    (tmp_path / "s.json").write_text(json.dumps(strokes_document(drawn, SIZE)))
    own = Path("w.tif"), Path("s.tif")
    lender = Pair("a", *own, strokes=tmp_path / "s.json", setup=1)
    order = Order((lender,), tmp_path)
    write_sidecar(sidecar_path(order.output(lender)), Sidecar(size=painted))
    assert bool(_lenders(order)) == lends
    front = _painted(lender, order.output(lender), SIZE).get("front_strokes")
    assert (front is not None and bool(front.any())) == lends


@pytest.mark.parametrize(
    ("strokes", "lends"),
    [
        ((("nearer", 6.0),), False),
        ((("foreground", 6.0), ("erase", 90.0)), False),
        ((("foreground", 6.0), ("erase", 2.0)), True),
        ((("background", 6.0), ("nearer", 6.0)), True),
    ],
)
@pytest.mark.parametrize("in_a_file", [False, True])
def test_only_paint_that_is_left_is_lent(
    tmp_path: Path,
    strokes: tuple[tuple[Role, float], ...],
    lends: bool,
    in_a_file: bool,
) -> None:
    drawn = [Stroke(((5.0, 5.0), (30.0, 5.0)), diameter, role) for role, diameter in strokes]
    pair = Pair("a", Path("w.tif"), Path("s.tif"), setup=1)
    if in_a_file:
        (tmp_path / "s.json").write_text(json.dumps(strokes_document(drawn, SIZE)))
        pair = replace(pair, strokes=tmp_path / "s.json")
    order = Order((pair,), tmp_path)
    if not in_a_file:
        sidecar = Sidecar(size=SIZE, strokes=tuple(drawn))
        write_sidecar(sidecar_path(order.output(pair)), sidecar)
    assert bool(_lenders(order)) == lends


def test_what_was_painted_at_another_size_is_not_lent(tmp_path: Path) -> None:
    frame = Frame(np.full((*SIZE[::-1], 3), 0.2, np.float32))
    for name in ("w.tif", "s.tif"):
        write_picture(tmp_path / name, frame.pixels, like=frame)
    lender = Pair("a", tmp_path / "w.tif", tmp_path / "s.tif", setup=1)
    drawn = (Stroke(((5.0, 5.0), (30.0, 5.0)), 6.0, "foreground"),)
    twice = (2 * SIZE[0], 2 * SIZE[1])
    write_sidecar(sidecar_path(tmp_path / "a.tif"), Sidecar(size=twice, strokes=drawn))
    hints, notes = lent_hints(lender, tmp_path / "a.tif", ReadPair(frame, frame), Hints())
    assert hints.front_strokes is None
    assert notes == ("nothing is lent by a: it was painted at another size",)
