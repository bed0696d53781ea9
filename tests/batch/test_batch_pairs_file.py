"""pairs.toml: what is written can be read, also by the standard library; mistakes name a line."""

import tomllib
from pathlib import Path
from typing import Literal
from unicodedata import normalize

import pytest

from blendkit.batch.found import Found, FoundPair
from blendkit.batch.pairs_file import from_found, read_pairs, read_settings, write_pairs
from blendkit.errors import InputError


def found(folder: Path) -> Found:
    folder.mkdir(exist_ok=True)
    for name in ("a.tif", "b.tif", "c.tif", 'd "quoted" é.tif', "mask.png"):
        (folder / name).write_bytes(b"picture")
    one = FoundPair(
        "a", "aperture", 1, folder / "a.tif", folder / "b.tif", (folder / "c.tif",), 0.97, "x"
    )
    odd = folder / 'd "quoted" é.tif'
    two = FoundPair("d", "focus", 2, odd, folder / "b.tif", (), 0.5, 'a "why"')
    return Found(folder, (one, two), ((folder / "c.tif", "no other frame"),), ())


def test_what_was_found_comes_back_as_it_was(tmp_path: Path) -> None:
    shoot = found(tmp_path / "shoot")
    write_pairs(tmp_path / "pairs.toml", shoot)
    assert read_pairs(tmp_path / "pairs.toml") == from_found(shoot)


def test_the_list_is_toml_with_comments_for_a_person(tmp_path: Path) -> None:
    write_pairs(tmp_path / "pairs.toml", found(tmp_path / "shoot"))
    text = (tmp_path / "pairs.toml").read_text()
    assert tomllib.loads(text)["pair"][1]["why"] == 'a "why"'
    for word in ("background", "bridges", "skip", "left alone: c.tif: no other frame"):
        assert any(word in line for line in text.splitlines() if line.startswith("#"))


LIST = """\
folder = "shoot"
[settings.matte]
hold = 0.5
[[pair]]
name = "a"
background = "a.tif"
foreground = "b.tif"
setup = 3
foreground_mask = "mask.png"
[pair.settings.plate]
least_clear = 0.3
[[pair]]
name = "c"
background = "c.tif"
foreground = "b.tif"
skip = true
"""


def test_a_list_that_begins_with_a_byte_order_mark_is_read(tmp_path: Path) -> None:
    found(tmp_path / "shoot")
    (tmp_path / "pairs.toml").write_text(LIST, encoding="utf-8-sig")
    assert [pair.name for pair in read_pairs(tmp_path / "pairs.toml")] == ["a", "c"]
    (tmp_path / "pairs.toml").write_text(LIST.replace("hold", "hodl"), encoding="utf-8-sig")
    with pytest.raises(InputError, match="line 3: "):
        read_pairs(tmp_path / "pairs.toml")


@pytest.mark.parametrize(("listed", "stored"), [("NFD", "NFC"), ("NFC", "NFD")])
def test_a_name_is_found_however_its_accents_are_written(
    tmp_path: Path, listed: Literal["NFC", "NFD"], stored: Literal["NFC", "NFD"]
) -> None:
    folder = tmp_path / normalize(stored, "Gärten")
    folder.mkdir()
    for name in ("é.tif", "b.tif"):
        (folder / normalize(stored, name)).write_bytes(b"picture")
    given = normalize(listed, 'background = "Gärten/é.tif"\nforeground = "Gärten/b.tif"\n')
    (tmp_path / "pairs.toml").write_text(f'[[pair]]\nname = "a"\n{given}', encoding="utf-8")
    (pair,) = read_pairs(tmp_path / "pairs.toml")
    assert pair.background == (folder / normalize(stored, "é.tif")).resolve()


def test_settings_build_on_each_other_and_pairs_keep_their_own(tmp_path: Path) -> None:
    found(tmp_path / "shoot")
    (tmp_path / "p.toml").write_text(LIST)
    first, second = read_pairs(tmp_path / "p.toml")
    assert (first.settings.matte.hold, first.settings.plate.least_clear) == (0.5, 0.3)
    assert (second.settings.matte.hold, second.settings.plate.least_clear) == (0.5, 0.15)
    assert (first.setup, first.foreground_mask) == (3, (tmp_path / "shoot" / "mask.png").resolve())
    assert second.skip


@pytest.mark.parametrize(
    ("old", "new", "line", "words"),
    [
        ('name = "c"', 'name = "A"', 13, "line 5 already"),
        ('background = "c.tif"', 'background = "z.tif"', 14, "there is no file"),
        ('background = "c.tif"', 'background = "b.tif"', 15, "one file"),
        ("setup = 3", 'setup = "3"', 8, "whole number"),
        ("setup = 3", "setups = 3", 8, "no setups"),
        ("skip = true", "skip = 1", 16, "true or false"),
        ("skip = true", 'bridges = "b.tif"', 16, "a list"),
        ("skip = true", 'repair = "magic"', 16, "bridge, extend"),
        ('name = "a"', f'name = "{"a" * 250}"', 5, "choose another"),
        ('name = "a"', 'name = "a\\u0007"', 5, "choose another"),
        ("skip = true", "repair = 1", 16, "bridge, extend"),
        ("hold = 0.5", "hold = 500", 3, "allowed is 0 to 100"),
        ("hold = 0.5", 'hold = "much"', 3, "a number"),
        ("least_clear = 0.3", "least_claer = 0.3", 11, "least_claer"),
        ("[settings.matte]", "[settings.mat]", 2, "mat"),
        ('foreground = "b.tif"\nsetup', "setup", 4, "lacks foreground"),
        ("setup = 3", "setup == 3", 8, "Invalid"),
        ('name = "a"', 'name = "../a"', 5, "file's name"),
        ('folder = "shoot"', 'folder = "nowhere"', 1, "no folder"),
        ('folder = "shoot"', 'folders = "shoot"', 1, "no folders here"),
    ],
)
def test_a_mistake_is_reported_with_its_line(
    tmp_path: Path, old: str, new: str, line: int, words: str
) -> None:
    found(tmp_path / "shoot")
    assert old in LIST
    (tmp_path / "p.toml").write_text(LIST.replace(old, new, 1))
    with pytest.raises(InputError) as caught:
        read_pairs(tmp_path / "p.toml")
    assert f"line {line}:" in str(caught.value)
    assert words in str(caught.value)
    assert "\n" not in str(caught.value)


def test_a_settings_file_names_the_line_too(tmp_path: Path) -> None:
    path = tmp_path / "s.toml"
    path.write_text("[matte]\nhold = 0.7\n")
    assert read_settings(path).matte.hold == 0.7
    path.write_text("[matte]\nedge_px = 1\nhold = -1\n")
    with pytest.raises(InputError, match="line 3"):
        read_settings(path)


def test_a_list_of_something_else_is_reported(tmp_path: Path) -> None:
    (tmp_path / "p.toml").write_text("pair = [1]\n")
    with pytest.raises(InputError, match=r"write \[\[pair\]\]"):
        read_pairs(tmp_path / "p.toml")
