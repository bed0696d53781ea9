"""Pairing on a few invented shoots; the whole study is tests/bench/pairing_study.py."""

import json
from datetime import datetime
from pathlib import Path

import exifread
import numpy as np
import pytest
from invented_shoots import (
    START,
    Shoot,
    Spoiling,
    Take,
    burst,
    make_shoot,
    scenes,
    spoilings,
    write_take,
)
from PIL import Image

from blendkit.batch.aperture import aperture_values
from blendkit.batch.choose import Cast, bridges_for
from blendkit.batch.doubles import counted_once
from blendkit.batch.folder import find_frames, natural_order
from blendkit.batch.pairing import find_pairs
from blendkit.batch.setups import in_order
from blendkit.batch.shots import Shot, read_shots, small_version
from blendkit.files import ifd, write_picture
from blendkit.files.orient import as_stored
from blendkit.frame import Capture, Frame
from blendkit.report.bundle import target_paths
from blendkit.simulate import Scene


@pytest.fixture(scope="module")
def stages() -> list[Scene]:
    return scenes(5, seed=40, size=(180, 120))


@pytest.fixture(scope="module")
def shoots(stages: list[Scene], tmp_path_factory: pytest.TempPathFactory) -> list[Shoot]:
    root = tmp_path_factory.mktemp("shoots")
    kinds = [spoilings()[k] for k in (0, 2, 3, 5)]
    return [
        make_shoot(root / kind.name.replace(" ", "-"), stages, kind, seed=60 + k, episodes=4)
        for k, kind in enumerate(kinds)
    ]


def test_exif_of_the_shoots_is_what_an_independent_reader_sees(shoots: list[Shoot]) -> None:
    # Tags of CIPA DC-008: FNumber, ExposureTime, DateTimeOriginal, SubSecTimeOriginal, Model
    for path in sorted(shoots[0].folder.iterdir()):
        with path.open("rb") as stream:
            tags = exifread.process_file(stream, details=False)
        assert str(tags["Image Model"]) == "Orchard Mk I"
        number = tags["EXIF FNumber"].values[0]
        assert float(number) in (2.8, 4, 5.6, 8, 11, 16)
        moment = datetime.strptime(str(tags["EXIF DateTimeOriginal"]), "%Y:%m:%d %H:%M:%S")  # noqa: DTZ007
        assert moment >= START
        assert str(tags["EXIF SubSecTimeOriginal"]).isdigit()


def test_poses_pairs_and_brackets_are_found(shoots: list[Shoot]) -> None:
    right = wrong = missed = 0
    for shoot in shoots:
        want = shoot.pairs
        clears = {name for group in shoot.expected for name in group.clears}
        found = {pair.background.name: pair for pair in find_pairs(shoot.folder).pairs}
        for name, pair in found.items():
            fits = pair.foreground.name in want.get(name, ())
            right += fits
            wrong += not fits and name not in clears
        missed += len(want.keys() - found.keys())
    assert right >= 10, "the shoots should hold enough to find"
    # These four are harder than the study's mean: two of 29 poses are missed (two cameras, and a
    # lens without tags), and one is paired wrongly.
    assert wrong <= 1
    assert missed <= 2


def test_a_burst_and_a_single_are_left_alone(tmp_path: Path, stages: list[Scene]) -> None:
    rng = np.random.default_rng(5)
    for number, take in enumerate([*burst(rng), Take("single", 16.0)]):
        stage = stages[0] if take.f_number != 16.0 else stages[1]
        write_take(tmp_path / f"B_{number}.jpg", stage, take, START, Spoiling("sound"), 0, rng)
    found = find_pairs(tmp_path)
    assert found.pairs == ()
    assert len(found.alone) == len(list(tmp_path.iterdir()))
    assert any("no other frame" in reason for _, reason in found.alone)


def test_a_shaken_foreground_frame_is_passed_over(tmp_path: Path, stages: list[Scene]) -> None:
    rng = np.random.default_rng(6)
    takes = [
        Take("foreground", 16.0, shake_px=8.0),
        Take("foreground", 16.0),
        Take("background"),
        Take("background", pose_px=(6.0, 1.0)),
    ]
    for number, take in enumerate(takes):
        write_take(tmp_path / f"S_{number}.jpg", stages[2], take, START, Spoiling("sound"), 0, rng)
    found = find_pairs(tmp_path)
    assert {(p.background.name, p.foreground.name) for p in found.pairs} == {
        ("S_2.jpg", "S_1.jpg"),
        ("S_3.jpg", "S_1.jpg"),
    }
    assert "best of 2 foreground frames" in found.pairs[0].why
    assert [(path.name, reason) for path, reason in found.alone] == [
        ("S_0.jpg", "another foreground frame of the set-up fits better")
    ]


def test_of_many_bridge_frames_the_three_nearest_are_taken(
    tmp_path: Path, stages: list[Scene]
) -> None:
    rng = np.random.default_rng(7)
    between = [Take("bridge", f_number, gap_s=2) for f_number in (4.0, 5.6, 8.0, 11.0)]
    takes = [Take("background"), *between, Take("foreground", 16.0)]
    for number, take in enumerate(takes, start=7):  # B_10 comes after B_9, not before
        write_take(tmp_path / f"B_{number}.jpg", stages[2], take, START, Spoiling("sound"), 0, rng)
    found = find_pairs(tmp_path)
    (pair,) = found.pairs
    assert [path.name for path in pair.bridges] == ["B_8.jpg", "B_9.jpg", "B_10.jpg"]
    assert [(path.name, reason) for path, reason in found.alone] == [
        ("B_11.jpg", "three other bridge frames were taken nearer to the pair")
    ]


def test_the_bridge_frame_next_to_the_background_frame_comes_first() -> None:
    back, far, near = shot("P9", 1), shot("P12", 3), shot("P10", 2)
    cast = Cast("aperture", (back,), (), (far, near), "", 1.0)
    assert bridges_for(back, cast) == (near, far)


def test_a_raw_and_its_rendered_files_count_once(tmp_path: Path) -> None:
    for name in ("P1.jpg", "P1.tif", "P1.DNG", "P2.dng", "P10.jpg", "P9.jpg"):
        (tmp_path / name).write_bytes(b"x")
    (tmp_path / "P9.report.json").write_text("{}")
    frames, notes = find_frames(tmp_path)
    assert [path.name for path in frames] == ["P1.tif", "P2.dng", "P10.jpg"]
    assert notes == ["P1.tif: counts once together with P1.jpg and P1.DNG"]


def as_taken(path: Path, second: int, f_number: float = 2.8) -> None:
    recorded = Capture(f_number=f_number, captured_at=START.replace(second=second), camera="Mk I")
    light = np.full((40, 60, 3), 0.2, np.float32)
    path.parent.mkdir(exist_ok=True)
    write_picture(path, light, like=Frame(light, recorded))


def test_two_frames_of_one_name_and_two_moments_are_two(tmp_path: Path) -> None:
    for name, second in (("P1.jpg", 1), ("P1.tif", 17), ("P2.jpg", 20), ("P2.tif", 20)):
        as_taken(tmp_path / name, second)
    frames, notes = find_frames(tmp_path)
    assert sorted(path.name for path in frames) == ["P1.jpg", "P1.tif", "P2.tif"]
    assert notes == ["P2.tif: counts once together with P2.jpg"]


def test_the_cameras_files_and_edited_ones_in_another_folder_count_once(tmp_path: Path) -> None:
    for second in range(1, 4):
        as_taken(tmp_path / "camera" / f"P{second}.jpg", second)
    for second in (1, 2):
        as_taken(tmp_path / "edited" / f"P{second}.tif", second)
    as_taken(tmp_path / "edited" / "P3.tif", 40)  # another camera's count, or another day's
    as_taken(tmp_path / "camera" / "P4.jpg", 50)
    shots, _ = read_shots(find_frames(tmp_path)[0])
    kept, notes = counted_once(shots, tmp_path)
    names = [s.path.relative_to(tmp_path).as_posix() for s in kept]
    assert names == ["camera/P1.jpg", "camera/P2.jpg", "camera/P3.jpg", "camera/P4.jpg",
                     "edited/P3.tif"]  # fmt: skip
    (note,) = notes
    assert note.startswith("edited: 2 of its frames count once together with those of camera; ")


def test_what_a_merge_left_beside_its_frames_is_not_taken_for_frames(tmp_path: Path) -> None:
    (tmp_path / "a.jpg").write_bytes(b"x")
    for path in target_paths(tmp_path / "gate.tif", layers=True, pages=True).values():
        path.write_bytes(b"x")
    assert [path.name for path in find_frames(tmp_path)[0]] == ["a.jpg"]
    (tmp_path / "gate.report.json").unlink()
    assert len(find_frames(tmp_path)[0]) > 1, "without its report it is nobody's result"


def test_results_of_a_batch_are_not_taken_for_frames(tmp_path: Path) -> None:
    (tmp_path / "a.jpg").write_bytes(b"x")
    (tmp_path / "out" / ".blendkit").mkdir(parents=True)
    (tmp_path / "out" / "b.tif").write_bytes(b"x")
    assert [path.name for path in find_frames(tmp_path)[0]] == ["a.jpg"]


def test_frames_are_found_where_a_batch_wrote_among_them(tmp_path: Path) -> None:
    (tmp_path / ".blendkit").mkdir()
    for name in ("a.jpg", "gate.tif", "gate.report.json", "gate.flags.png"):
        (tmp_path / name).write_bytes(b"{}")
    assert [path.name for path in find_frames(tmp_path)[0]] == ["a.jpg"]


def shot(name: str, second: int, **recorded: float) -> Shot:
    when = START.replace(second=second)
    small = np.full((4, 6), recorded.pop("light", 0.2), np.float32)
    return Shot(Path(name), Capture(captured_at=when, **recorded), (6, 4), small)


def test_a_clock_set_back_does_not_disturb_the_order_but_random_names_do() -> None:
    counted = [shot("P1", 10), shot("P2", 20), shot("P3", 2), shot("P10", 12)]
    assert [s.path.name for s in in_order(counted[::-1])] == ["P1", "P2", "P3", "P10"]
    named = [shot("d", 1), shot("a", 2), shot("c", 3), shot("b", 4), shot("e", 5), shot("0", 6)]
    assert [s.path.name for s in in_order(named)] == ["d", "a", "c", "b", "e", "0"]


def test_aperture_follows_from_exposure_where_the_lens_records_none() -> None:
    # EV = log2(N^2 / t) (APEX, CIPA DC-008 annex C): f/2.8 1/500 ISO 100 and f/16 1/125 ISO 800
    # are alike to a twentieth of a stop, so five stops lie between the apertures.
    wide = shot("a", 1, exposure_time_s=1 / 500, iso=100)
    stopped = shot("b", 2, exposure_time_s=1 / 125, iso=800)
    values = aperture_values([wide, stopped])
    assert values[1] - values[0] == pytest.approx(5.0, abs=0.06)  # type: ignore[operator]


def test_a_damaged_file_is_left_alone_with_its_reason(tmp_path: Path) -> None:
    frame = Frame(np.full((40, 60, 3), 0.2, np.float32))
    write_picture(tmp_path / "a.jpg", frame.pixels, like=frame)
    (tmp_path / "b.jpg").write_bytes((tmp_path / "a.jpg").read_bytes()[:300])
    found = find_pairs(tmp_path)
    assert ("b.jpg", True) in {(path.name, "again" in why) for path, why in found.alone}


@pytest.mark.parametrize("orientation", range(1, 9))
@pytest.mark.parametrize(
    "odd", [{}, {282: ifd.ascii_entry("72")}, {305: ifd.rational_entry((72, 1))}]
)
def test_a_jpeg_is_turned_whatever_else_its_exif_holds(
    tmp_path: Path, orientation: int, odd: dict[int, ifd.Entry]
) -> None:
    """A resolution as text and a program's name as a fraction are no reason to stop."""
    upright = np.full((16, 24, 3), 40, np.uint8)
    upright[:8, :8] = 250
    block = ifd.dump_block({274: ifd.short_entry(orientation), **odd})
    path = tmp_path / "a.jpg"
    stored = np.ascontiguousarray(as_stored(upright, orientation))
    Image.fromarray(stored).save(path, exif=b"Exif\0\0" + block, quality=95)
    small = small_version(path, (24, 16))
    assert small.shape == (16, 24, 3)
    assert small[:8, :8].min() > 0.8
    assert max(small[8:].max(), small[:, 8:].max()) < 0.1
    shots, unread = read_shots([path])
    assert (shots[0].size, unread) == ((24, 16), [])


def test_a_result_named_like_a_frame_of_another_kind_leaves_the_frame(tmp_path: Path) -> None:
    (tmp_path / "wide.jpg").write_bytes(b"x")
    (tmp_path / "wide.tif").write_bytes(b"x")
    said = {"output": {"path": str(tmp_path / "wide.tif")}}
    (tmp_path / "wide.report.json").write_text(json.dumps(said))
    assert [path.name for path in find_frames(tmp_path)[0]] == ["wide.jpg"]


def test_links_in_a_circle_are_walked_once(tmp_path: Path) -> None:
    (tmp_path / "a.jpg").write_bytes(b"x")
    (tmp_path / "latest").symlink_to(tmp_path)
    assert find_frames(tmp_path)[0] == [tmp_path / "a.jpg"]


def test_digits_that_are_no_numbers_sort_as_letters() -> None:
    assert min((Path("10².jpg"), Path("9.jpg")), key=natural_order).name == "9.jpg"
