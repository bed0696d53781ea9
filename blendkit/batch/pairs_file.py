"""pairs.toml: the pairs of a shoot as a person reads and edits them."""

import os
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any
from unicodedata import normalize

import tomlkit

from blendkit import __version__
from blendkit.batch.found import Found, FoundPair
from blendkit.batch.names import is_file_name
from blendkit.batch.settings_file import SettingError, merged_settings
from blendkit.batch.toml_lines import TomlFile, read_toml
from blendkit.errors import InputError
from blendkit.files.atomic import atomic
from blendkit.settings import MergeSettings

NAME = "pairs.toml"
SCHEMA = "blendkit.pairs/1"
MASKS = ("foreground_mask", "background_mask", "matte", "strokes")
REPAIRS = ("bridge", "extend", "sharpen", "taper", "auto", "none")
"""Modes of repair, as in `blendkit.repair`, which takes long to import, and "none"."""

_FILES = ("background", "foreground", "clear", *MASKS)
_KNOWN = (
    "name",
    "setup",
    "bridges",
    "repair",
    "skip",
    "settings",
    "kind",
    "certainty",
    "why",
    *_FILES,
)

_KINDS: dict[str, tuple[type, str]] = {
    "name": (str, "a text in quotes"),
    "setup": (int, "a whole number"),
    "skip": (bool, "true or false"),
    "repair": (str, "one of " + ", ".join(REPAIRS)),
    "bridges": (list, 'a list, as in ["a.tif", "b.tif"]'),
}

_HEAD = """\
Pairs of a shoot, found by blendkit {version}: {pairs} of them; frames left alone: {alone}.
`blendkit batch` merges what stands here; edit it as you like.  Each [[pair]] may have:
  name             of the result's file; unique
  background       the frame that gives the geometry, the background and the sitter
  foreground       the frame that gives the sharp foreground
  bridges          further frames, sharp through the middle: they fill ground that is soft there
  repair           how such ground is repaired: bridge (the usual, where there are bridges),
                   extend, sharpen, taper, auto or none; a repair kept in the review wins
  clear            a frame with the foreground held aside; if it was taken for one more pose,
                   name it here and delete its own [[pair]]; if a pose was taken for it,
                   delete this line and add a [[pair]]
  setup            pairs with one number share a mask or strokes that one of them has
  foreground_mask, background_mask, matte, strokes   files with what you painted
  skip             true leaves the pair out
  [pair.settings.matte] and the like, right after the pair: settings for it alone
kind, certainty (0 to 1) and why are for you to read; batch ignores them.
Names of files count from `folder`, and that counts from this file."""


@dataclass(frozen=True, slots=True)
class Pair:
    """A pair as it is to be merged; all paths are absolute.

    setup: pairs of one number share masks; None shares nothing.
    repair: mode of repair, "none" for none; None repairs with the bridges, if there are any.
    """

    name: str
    background: Path
    foreground: Path
    bridges: tuple[Path, ...] = ()
    clear: Path | None = None
    foreground_mask: Path | None = None
    background_mask: Path | None = None
    matte: Path | None = None
    strokes: Path | None = None
    setup: int | None = None
    repair: str | None = None
    skip: bool = False
    settings: MergeSettings = field(default_factory=MergeSettings)

    @property
    def files(self) -> tuple[tuple[str, Path], ...]:
        """Return (role, path) of every file that the pair names."""
        one = ((role, getattr(self, role)) for role in _FILES)
        named = [(role.replace("_", "-"), path) for role, path in one if path is not None]
        return (*named, *(("bridge", path) for path in self.bridges))


def from_found(found: Found, settings: MergeSettings | None = None) -> list[Pair]:
    """Return found pairs as they are to be merged."""
    return [
        Pair(
            name=pair.name,
            background=pair.background.resolve(),
            foreground=pair.foreground.resolve(),
            bridges=tuple(path.resolve() for path in pair.bridges),
            clear=None if pair.clear is None else pair.clear.resolve(),
            setup=pair.setup,
            settings=settings or MergeSettings(),
        )
        for pair in found.pairs
    ]


def write_pairs(path: Path, found: Found) -> None:
    """Write found pairs with what a person needs to judge and edit them."""
    document = tomlkit.document()
    head = _HEAD.format(version=__version__, pairs=len(found.pairs), alone=len(found.alone))
    for line in head.splitlines():
        document.add(tomlkit.comment(line))
    document.add(tomlkit.nl())
    document.add("schema", tomlkit.item(SCHEMA))
    document.add("folder", tomlkit.item(_from_here(found.folder, path)))
    document.add(tomlkit.nl())
    tables = tomlkit.aot()
    for pair in found.pairs:
        tables.append(_table(pair, found.folder))
    if found.pairs:
        document.add("pair", tables)
    for file, reason in found.alone:
        document.add(tomlkit.comment(f"left alone: {_inside(file, found.folder)}: {reason}"))
    with atomic(path) as temporary:
        try:
            temporary.write_text(tomlkit.dumps(document), encoding="utf-8")
        except UnicodeEncodeError as error:
            name = error.object[: error.end].rpartition('"')[2].encode("ascii", "backslashreplace")
            raise InputError(
                f"{found.folder}: the name of a file in it is not UTF-8 ({name.decode()}...); "
                "rename it"
            ) from error


def _from_here(folder: Path, path: Path) -> str:
    try:
        return Path(os.path.relpath(folder.resolve(), path.resolve().parent)).as_posix()
    except ValueError:  # another drive
        return folder.resolve().as_posix()


def _inside(path: Path, folder: Path) -> str:
    return path.relative_to(folder).as_posix()


def _table(pair: FoundPair, folder: Path) -> Any:
    table = tomlkit.table()
    table.add("name", pair.name)
    table.add("background", _inside(pair.background, folder))
    table.add("foreground", _inside(pair.foreground, folder))
    if pair.clear is not None:
        table.add("clear", _inside(pair.clear, folder))
    if pair.bridges:
        table.add("bridges", [_inside(path, folder) for path in pair.bridges])
    table.add("setup", pair.setup)
    table.add("kind", pair.kind)
    table.add("certainty", pair.certainty)
    table.add("why", pair.why)
    return table


def read_pairs(path: Path, settings: MergeSettings | None = None) -> list[Pair]:
    """Read pairs.toml.

    Parameters
    ----------
    path : the file.
    settings : of the shoot, on which the file's own build.

    Raises
    ------
    InputError : a mistake, with the line that it stands in.
    """
    file = read_toml(path)
    for key in file.data:
        if key not in ("schema", "folder", "settings", "pair"):
            raise file.error(file.line("", key), f"there is no {key} here; use [[pair]]")
    if file.data.get("schema", SCHEMA) != SCHEMA:
        given = file.data["schema"]
        raise file.error(file.line("", "schema"), f"schema is {given!r}, this reads {SCHEMA!r}")
    folder = _folder(file)
    base = _settings(file, settings or MergeSettings(), file.data.get("settings", {}))
    tables = file.data.get("pair", [])
    if not isinstance(tables, list) or not tables:
        raise file.error(file.line("pair"), "there is no [[pair]]; add one or run blendkit pairs")
    pairs = [_pair(file, nth, table, folder, base) for nth, table in enumerate(tables)]
    _check_names(file, pairs)
    return pairs


def _folder(file: TomlFile) -> Path:
    given = file.data.get("folder", ".")
    if not isinstance(given, str):
        raise file.error(file.line("", "folder"), "folder is a text in quotes")
    folder = _resolved(file.path.resolve().parent, given)
    if folder is None or not folder.is_dir():
        raise file.error(
            file.line("", "folder"), f"{folder or given!r} is no folder; name the frames' folder"
        )
    return folder


def _resolved(folder: Path, given: str) -> Path | None:
    """Return an existing place as seen from a folder; None for what no disk can hold."""
    try:
        return _spelled(folder / given).resolve(strict=True)
    except (OSError, ValueError, RuntimeError):  # a null byte, too long, links in a circle
        return None


def _spelled(path: Path) -> Path:
    """Return a path with its names as the disk spells them.

    Some systems write an accent as a character of its own (NFD), others with its letter (NFC); a
    list that was edited on one names files of the other.
    """
    if path.exists() or path == path.parent:
        return path
    folder = _spelled(path.parent)
    wanted = normalize("NFC", path.name)
    same = [entry for entry in folder.iterdir() if normalize("NFC", entry.name) == wanted]
    return same[0] if len(same) == 1 else folder / path.name


def _settings(
    file: TomlFile, base: MergeSettings, changes: Any, *, table: str = "settings", nth: int = 0
) -> MergeSettings:
    if not isinstance(changes, dict):
        raise file.error(file.line("", "settings"), "settings is a table, as in [settings.matte]")
    try:
        return merged_settings(base, changes)
    except SettingError as error:
        *above, key = error.path
        line = file.line(".".join((table, *above)), key, nth=nth)
        raise file.error(line, str(error)) from error


def _pair(
    file: TomlFile, nth: int, table: dict[str, Any], folder: Path, base: MergeSettings
) -> Pair:
    if not isinstance(table, dict):
        raise file.error(file.line("", "pair"), "pair is a list of tables; write [[pair]]")
    _check_keys(file, nth, table)

    def place(key: str, given: Any) -> Path:
        line = file.line("pair", key, nth=nth)
        if not isinstance(given, str):
            raise file.error(line, f"{key} = {given!r}: give a file's name in quotes")
        found = _resolved(folder, given)
        if found is None or not found.is_file():
            raise file.error(line, f"{key}: there is no file {given!r}; correct the name")
        return found

    return Pair(
        name=table["name"],
        **{key: place(key, table[key]) for key in _FILES if key in table},
        bridges=tuple(place("bridges", item) for item in table.get("bridges", [])),
        setup=table.get("setup"),
        repair=table.get("repair"),
        skip=table.get("skip", False),
        settings=_settings(file, base, table.get("settings", {}), table="pair.settings", nth=nth),
    )


def _check_keys(file: TomlFile, nth: int, table: dict[str, Any]) -> None:
    """Raise for a key that is unknown, missing or of the wrong kind."""

    def complain(key: str, message: str) -> InputError:
        return file.error(file.line("pair", key, nth=nth), message)

    for key in table:
        if key not in _KNOWN:
            raise complain(key, f"a pair has no {key}; it may have {', '.join(_KNOWN)}")
    for key in ("name", "background", "foreground"):
        if key not in table:
            raise complain("", f"this pair lacks {key}; add it")
    for key, (kind, what) in _KINDS.items():
        if not isinstance(table.get(key, kind()), kind):
            raise complain(key, f"{key} = {table[key]!r}: give {what}")
    if table.get("repair", "none") not in REPAIRS:
        raise complain("repair", f"repair = {table['repair']!r}: give {_KINDS['repair'][1]}")
    name = table["name"]
    if not is_file_name(name):
        raise complain("name", f"name = {name!r}: cannot be a file's name; choose another")


def _check_names(file: TomlFile, pairs: list[Pair]) -> None:
    seen: dict[str, int] = {}
    for nth, pair in enumerate(pairs):
        first = seen.setdefault(pair.name.lower(), nth)
        if first != nth:
            earlier = file.line("pair", "name", nth=first)
            line = file.line("pair", "name", nth=nth)
            raise file.error(
                line, f"name {pair.name!r} stands in line {earlier} already; choose another"
            )
        if pair.background == pair.foreground:
            line = file.line("pair", "foreground", nth=nth)
            raise file.error(line, "background and foreground are one file; name two frames")


def read_settings(path: Path, base: MergeSettings | None = None) -> MergeSettings:
    """Read a TOML file that holds settings only, as in [matte] hold = 0.5.

    Raises
    ------
    InputError : a mistake, with the line that it stands in.
    """
    file = read_toml(path)
    try:
        return merged_settings(base or MergeSettings(), file.data)
    except SettingError as error:
        *above, key = error.path
        raise file.error(file.line(".".join(above), key), str(error)) from error
