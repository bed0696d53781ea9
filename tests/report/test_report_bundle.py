"""The set of files of a result: all of them or none, and never in the place of an input."""

import errno
import json
import os
import signal
from collections.abc import Callable
from dataclasses import replace
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any

import cv2
import numpy as np
import pytest
import tifffile
from PIL import Image

from blendkit.batch.folder import find_frames
from blendkit.errors import InputError, OutputError
from blendkit.files import read_frame, read_labels, read_mask, write_picture
from blendkit.files.deliver import deliver_copies
from blendkit.frame import Embedded
from blendkit.report import bundle, flag_labels, write_refusal, write_result
from blendkit.report.asked import Asked, asked_from
from blendkit.report.bundle import check_targets, refusal_path, target_paths
from blendkit.report.document import Input
from blendkit.settings import DeliverySettings, MergeSettings

RDF = b"http://www.w3.org/1999/02/22-rdf-syntax-ns#"
AUX = b"http://ns.adobe.com/exif/1.0/aux/"

if TYPE_CHECKING:
    from tests.report.conftest import Case


def write(case: "Case", path: Path, **options: Any) -> bundle.Written:
    pair = case.pair
    return write_result(
        path, case.merged, pair.background, pair.foreground, inputs=pair.inputs, **options
    )


def test_the_whole_set_is_there_and_readable(case: "Case", tmp_path: Path) -> None:
    written = write(case, tmp_path / "gate.tif", layers=True)
    names = {path.name for path in tmp_path.iterdir()}
    assert names == {path.name for path in written.paths.values()}
    assert names == {
        "gate.tif", "gate.report.json", "gate.flags.png", "gate.sources.png", "gate.preview.jpg",
        "gate.matte.tif", "gate.plate.tif", "gate.foreground.tif",
    }  # fmt: skip
    assert json.loads((tmp_path / "gate.report.json").read_text()) == written.document
    labels = read_labels(tmp_path / "gate.flags.png")
    size = case.pair.background.size
    assert np.array_equal(labels, flag_labels(case.merged.flags, size))
    assert np.array_equal(read_labels(tmp_path / "gate.sources.png"), case.merged.sources)
    with Image.open(tmp_path / "gate.preview.jpg") as preview:
        assert preview.size == size


@pytest.mark.parametrize("private", [False, True])
@pytest.mark.parametrize("suffix", [".tif", ".png", ".jpg"])
def test_all_pictures_of_a_merge_are_known_wherever_they_lie(
    case: "Case", tmp_path: Path, suffix: str, private: bool
) -> None:
    """By what they carry, in a folder without their report and under other names."""
    written = write(
        case,
        tmp_path / f"gate{suffix}",
        layers=True,
        pages=True,
        zones=tmp_path / "zones.png",
        asked=Asked(private=private),
    )
    copies = deliver_copies(
        tmp_path / f"gate{suffix}",
        [DeliverySettings(name="{stem}-lab", private=private)],
    )
    shoot = tmp_path / "shoot"
    shoot.mkdir()
    pictures = [path for path in written.paths.values() if path.suffix != ".json"]
    for number, path in enumerate([*pictures, *(copy.path for copy in copies)]):
        path.rename(shoot / f"P{number}{path.suffix}")
    frame = case.pair.background
    write_picture(shoot / "frame.tif", frame.pixels, like=frame)
    assert [path.name for path in find_frames(shoot)[0]] == ["frame.tif"]


def test_the_layers_make_the_result_again(case: "Case", tmp_path: Path) -> None:
    """A layer stack in any program: straight foreground over plate, in linear light."""
    write(case, tmp_path / "gate.tif", layers=True)
    stored = tifffile.imread(tmp_path / "gate.foreground.tif")
    assert stored.dtype == np.uint16
    assert stored.shape[2] == 4
    alpha = read_mask(tmp_path / "gate.matte.tif", size=case.pair.background.size)[..., None]
    assert np.array_equal(stored[..., 3], np.rint(alpha[..., 0] * 65535).astype(np.uint16))
    plate = read_frame(tmp_path / "gate.plate.tif").pixels
    result = read_frame(tmp_path / "gate.tif").pixels
    untouched = alpha[..., 0] == 0
    assert np.abs(plate - result)[untouched].max() < 1e-4
    with tifffile.TiffFile(tmp_path / "gate.foreground.tif") as layer:
        profile = layer.pages.first.tags.valueof("InterColorProfile")
    colours = tmp_path / "colours.tif"
    tifffile.imwrite(colours, stored[..., :3], photometric="rgb", iccprofile=profile)
    made = alpha * read_frame(colours).pixels + (1 - alpha) * plate
    # Grain is matched after the layers are blended, and is all but gone in a mean over 9 px.
    off = np.abs(cv2.blur(made - result, (9, 9)))[~untouched]
    assert (alpha > 0.5).sum() > 1000
    assert off.mean() < 0.0005, "the plate alone is off by 0.04"


def test_bits_and_suffix_decide_the_depth(case: "Case", tmp_path: Path) -> None:
    cases: tuple[tuple[str, int | None, int], ...] = (
        ("a.jpg", None, 8), ("b.png", 8, 8), ("c.tif", 32, 32),
    )  # fmt: skip
    for name, bits, depth in cases:
        document = write(case, tmp_path / name, bits=bits).document
        assert document["output"]["bits"] == depth
        assert read_frame(tmp_path / name).bits == depth


@pytest.mark.parametrize("failing", ["write_labels", "write_rgba", "write_picture"])
def test_a_full_disk_leaves_everything_as_it_was(
    case: "Case", tmp_path: Path, monkeypatch: pytest.MonkeyPatch, failing: str
) -> None:
    for name in ("gate.tif", "gate.report.json", "gate.flags.png"):
        (tmp_path / name).write_text("of an earlier run")

    def full(path: Path, *_args: Any, **_options: Any) -> None:
        path.write_bytes(b"half a file")
        raise OSError(errno.ENOSPC, "No space left on device")

    monkeypatch.setattr(bundle, failing, full)
    with pytest.raises(OutputError, match=r"gate.*the disk is full: free some space"):
        write(case, tmp_path / "gate.tif", layers=True)
    assert {path.name: path.read_text() for path in tmp_path.iterdir()} == {
        "gate.tif": "of an earlier run",
        "gate.report.json": "of an earlier run",
        "gate.flags.png": "of an earlier run",
    }


@pytest.mark.parametrize("number", [signal.SIGINT, signal.SIGTERM])
@pytest.mark.parametrize("when", ["flush", "rename"])
def test_who_stops_a_merge_at_its_end_finds_the_old_set_or_the_new(
    case: "Case", tmp_path: Path, monkeypatch: pytest.MonkeyPatch, when: str, number: int
) -> None:
    paths = target_paths(tmp_path / "gate.tif", layers=True)
    for path in paths.values():
        path.write_text("old")

    def ended(*_: object) -> None:
        raise SystemExit

    def stopped(wanted: str, before: Callable[..., Any]) -> Callable[..., Any]:
        def step(*arguments: Any) -> Any:
            done = before(*arguments)
            final = wanted == "flush" or arguments[1] in paths.values()
            if when == wanted and sealed and final:
                seen.append(None)
                if len(seen) == 3:
                    signal.raise_signal(number)
            return done

        return step

    seen: list[None] = []
    sealed: list[None] = []
    monkeypatch.setattr(os, "fsync", stopped("flush", os.fsync))
    monkeypatch.setattr(Path, "replace", stopped("rename", Path.replace))
    usual = signal.signal(number, ended)
    try:
        with pytest.raises(SystemExit):
            write(
                case,
                tmp_path / "gate.tif",
                layers=True,
                sealed=lambda *_: sealed.append(None),
            )
        assert signal.getsignal(number) is ended, "it is heard again"
    finally:
        signal.signal(number, usual)
    old = [path.name for path in paths.values() if path.read_bytes() == b"old"]
    assert old == ([] if when == "rename" else [path.name for path in paths.values()])
    assert len(list(tmp_path.iterdir())) == len(paths), "no temporary file is left"


def test_all_files_are_flushed_before_one_is_renamed_and_the_result_is_the_last(
    case: "Case", tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    done: list[str] = []
    fsync, replaced = os.fsync, Path.replace

    def rename(path: Path, target: Path) -> Path:
        done.append(target.name)
        return replaced(path, target)

    def flush(handle: int) -> None:
        done.append("")
        fsync(handle)

    monkeypatch.setattr(os, "fsync", flush)
    monkeypatch.setattr(Path, "replace", rename)
    written = write(case, tmp_path / "gate.tif", sealed=lambda *_: done.clear())
    count = len(written.paths)
    assert done[:count] == [""] * count
    assert all(done[count : 2 * count])
    assert done[2 * count - 2 : 2 * count] == ["gate.report.json", "gate.tif"]


def test_an_error_names_the_file_that_was_asked_for(
    case: "Case", tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def full(path: Path, *_args: Any, **_options: Any) -> None:
        raise OutputError(f"{path}: the disk is full")

    monkeypatch.setattr(bundle, "write_labels", full)
    with pytest.raises(OutputError) as caught:
        write(case, tmp_path / "gate.tif")
    assert str(caught.value) == f"{tmp_path / 'gate.flags.png'}: the disk is full"


@pytest.mark.parametrize("what", ["gate.tif", "gate.plate.tif", "gate.report.json"])
def test_no_file_of_the_set_replaces_an_input(case: "Case", tmp_path: Path, what: str) -> None:
    (tmp_path / what).write_text("an input")
    inputs = [*case.pair.inputs, Input(tmp_path / what, "strokes")]
    pair = case.pair
    with pytest.raises(OutputError, match="names the input"):
        write_result(
            tmp_path / "gate.tif",
            case.merged,
            pair.background,
            pair.foreground,
            inputs=inputs,
            layers=True,
        )
    assert [path.name for path in tmp_path.iterdir()] == [what]
    assert (tmp_path / what).read_text() == "an input"


def test_report_and_result_need_two_names(case: "Case", tmp_path: Path) -> None:
    with pytest.raises(InputError, match="would replace the result"):
        write(case, tmp_path / "gate.tif", report=tmp_path / "gate.tif")
    with pytest.raises(InputError, match=r"name a .tif"):
        write(case, tmp_path / "gate.bmp")
    assert not list(tmp_path.iterdir())


def test_what_cannot_be_written_is_said_before_the_work(tmp_path: Path) -> None:
    targets = partial(bundle.target_paths, tmp_path / "gate.tif")
    with pytest.raises(InputError, match="the zones would replace the flags"):
        bundle.check_targets(targets(zones=tmp_path / "gate.flags.png"), [])
    page = tmp_path / "gate.report.html"
    with pytest.raises(InputError, match="the page would replace the report"):
        bundle.check_targets(targets(report=page) | {"page": page}, [])
    with pytest.raises(OutputError, match=r"written as \.png"):
        bundle.check_targets(targets(zones=tmp_path / "zones.tif"), [])
    with pytest.raises(InputError, match="16 bits cannot be stored"):
        bundle.check_targets(bundle.target_paths(tmp_path / "gate.jpg"), [], bits=16)


@pytest.mark.parametrize("private", [False, True])
def test_what_is_private_stays_out_of_every_picture(
    case: "Case", tmp_path: Path, private: bool
) -> None:
    packet = b'<x:xmpmeta xmlns:x="adobe:ns:meta/"><rdf:RDF xmlns:rdf="' + RDF + b'">'
    packet += b'<rdf:Description rdf:about="" xmlns:aux="' + AUX + b'" aux:SerialNumber="B-0815"/>'
    packet += b"</rdf:RDF></x:xmpmeta>"
    like = replace(case.pair.background, embedded=Embedded(xmp=packet))
    written = write_result(
        tmp_path / "gate.tif",
        case.merged,
        like,
        case.pair.foreground,
        inputs=case.pair.inputs,
        layers=True,
        pages=True,
        asked=Asked(private=private),
    )
    telling = {what for what, path in written.paths.items() if b"B-0815" in path.read_bytes()}
    assert telling == (set() if private else {"result", "preview", "pages", "plate", "foreground"})
    assert asked_from(written.document) == Asked(private=private, layers=True)


@pytest.mark.parametrize("said", [None, 3, {"settings": {"matte": {"hold": -4}}}, {"private": 1}])
def test_a_report_that_says_nothing_usable_asked_for_the_usual(said: object) -> None:
    assert asked_from({"output": {"asked": said}}) == Asked()
    assert asked_from({"output": None}) == Asked()


def test_a_refusal_leaves_its_report_alone(case: "Case", tmp_path: Path) -> None:
    target = tmp_path / "gate.report.json"
    document = write_refusal(
        target,
        "3 tie points: a homography needs at least 4",
        advice="tie one more",
        inputs=case.pair.inputs,
        settings=MergeSettings(),
    )
    (flag,) = document["flags"]
    assert flag["message"] == "3 tie points: a homography needs at least 4", "whole, as it was said"
    assert flag["advice"] == "tie one more"
    assert json.loads(target.read_text()) == document
    assert [path.name for path in tmp_path.iterdir()] == ["gate.report.json"]


def test_a_refused_merge_leaves_the_report_of_the_result_that_is_there(
    case: "Case", tmp_path: Path
) -> None:
    def written() -> Path:
        return write_result(
            tmp_path / "gate.tif",
            case.merged,
            case.pair.background,
            case.pair.foreground,
            inputs=case.pair.inputs,
        ).paths["report"]

    report = written()
    before = report.read_bytes()
    place = refusal_path(report)
    assert place == tmp_path / "gate.refusal.json"
    write_refusal(place, "no zone", inputs=case.pair.inputs, settings=MergeSettings())
    assert report.read_bytes() == before
    written()
    assert not place.exists(), "what was refused once has succeeded since"
    report.write_text("damaged")
    assert refusal_path(report) == report


def test_a_name_that_no_disk_takes_is_refused_before_any_work(tmp_path: Path) -> None:
    with pytest.raises(OutputError, match="name is too long"):
        check_targets(target_paths(tmp_path / f"{'g' * 246}.tif"), [])


def test_the_sidecars_name_counts_among_those_of_the_set(tmp_path: Path) -> None:
    check_targets(target_paths(tmp_path / f"{'g' * 241}.tif"), [])
    with pytest.raises(OutputError, match=r"g\.blendkit\.json: the name is too long"):
        check_targets(target_paths(tmp_path / f"{'g' * 242}.tif"), [])
    report = tmp_path / "gate.blendkit.json"
    with pytest.raises(InputError, match="the sidecar would replace the report"):
        check_targets(target_paths(tmp_path / "gate.tif", report=report), [])
