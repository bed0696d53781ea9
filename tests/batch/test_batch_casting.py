"""Poses, bridge frames, counters that begin anew and files of several kinds in one shoot."""

import json
from datetime import datetime, timedelta
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from blendkit.batch.choose import cast_of
from blendkit.batch.found import FoundPair
from blendkit.batch.lend import _painted
from blendkit.batch.names import is_file_name, uniquely_named
from blendkit.batch.pairs_file import Pair
from blendkit.batch.run import Order, _lenders
from blendkit.batch.setups import Likenesses, SetUp, in_order
from blendkit.batch.shots import Shot, read_shots
from blendkit.files import write_picture
from blendkit.frame import Capture, Frame
from blendkit.masks.strokes import Stroke, strokes_document
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
