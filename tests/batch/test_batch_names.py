"""Two pairs never get one name: one name is one result."""

from pathlib import Path

from blendkit.batch.found import FoundPair
from blendkit.batch.names import uniquely_named


def found(*places: str) -> list[FoundPair]:
    return [
        FoundPair(Path(p).stem, "aperture", 1, Path(p), Path(p).with_name("f.tif"), (), 1.0, "")
        for p in places
    ]


def names(*places: str) -> list[str]:
    return [pair.name for pair in uniquely_named(found(*places))]


def test_names_that_differ_stay() -> None:
    assert names("shoot/a.tif", "shoot/b.tif") == ["a", "b"]


def test_the_folder_tells_apart_what_a_camera_named_alike() -> None:
    assert names("shoot/100/a.tif", "shoot/101/a.tif", "shoot/b.tif") == ["100-a", "101-a", "b"]


def test_cards_of_two_cameras_have_folders_of_one_name_too() -> None:
    got = names("shoot/cam1/100/a.tif", "shoot/cam2/100/a.tif", "shoot/cam2/101/a.tif")
    assert got == ["cam1-100-a", "cam2-100-a", "101-a"]


def test_what_no_folder_tells_apart_is_numbered() -> None:
    assert names("a.tif", "a.png", "a-2.tif") == ["a", "a-2", "a-2-2"]
    assert names("A.tif", "a.png") == ["A", "a-2"], "some disks know no capitals"
