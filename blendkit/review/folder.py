"""Which pairs a folder holds: those listed, those with results, or those found among its frames."""

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from blendkit.errors import InputError
from blendkit.files import as_the_pair, prefer_raws
from blendkit.files.documents import read_json
from blendkit.report.asked import USUAL, Asked, asked_from
from blendkit.report.document import SCHEMA as REPORT_SCHEMA
from blendkit.settings import MergeSettings
from blendkit.sidecar import differing, merge_settings

if TYPE_CHECKING:
    from blendkit.batch.pairs_file import Pair

RESULTS = "results"
"""Folder below the reviewed one for results of pairs that were never merged."""

MASKS = ("foreground_mask", "background_mask", "matte")
_REPORT = ".report.json"


@dataclass(frozen=True, slots=True)
class PairFiles:
    """The files of a pair.

    result: where its result is, or is going to be.
    masks: further files that the merge takes, by name: foreground_mask, background_mask, matte.
    strokes: a file of strokes, which count until something is painted on the page.
    clear: frame with the foreground held aside; bridges: frames that are sharp in the mid-ground.
    asked: in the list of pairs, or when it was merged; a sidecar's settings are set on top of its.
    bits: depth of the result; None takes the usual.
    listed: whether a list of pairs says what is asked for; else the last merge does.
    taken: role and place of each file of its last merge, as far as it is found.
    unreachable: files of its last merge in folders that may not be looked into.
    why: why the two frames are a pair, as a sentence; empty if nobody said so.
    """

    name: str
    background: Path
    foreground: Path
    result: Path
    masks: Mapping[str, Path] = field(default_factory=dict)
    strokes: Path | None = None
    clear: Path | None = None
    bridges: tuple[Path, ...] = ()
    asked: Asked = USUAL
    bits: int | None = None
    listed: bool = False
    taken: tuple[tuple[str, Path], ...] = ()
    unreachable: tuple[str, ...] = ()
    why: str = ""

    @property
    def settings(self) -> MergeSettings:
        """The settings that were asked for; a sidecar's are set on top of them."""
        return merge_settings(self.asked.settings)

    @property
    def report(self) -> Path:
        """Where the result's report is."""
        return self.result.with_name(self.result.stem + _REPORT)


@dataclass(frozen=True, slots=True)
class _Where:
    """A report, and the folders that may be looked into, that of the results first."""

    report: Path
    allowed: tuple[Path, ...]


@dataclass(frozen=True, slots=True)
class _Lost:
    """A result without one of its frames: its background frame's name, and what is missing."""

    background: str
    missing: Path

    def why(self, *, places: bool) -> str:
        """Say what is missing; places: and in which folder it was."""
        known = places and self.missing.is_absolute()
        was = f" (it was in {self.missing.parent})" if known else ""
        return f"{self.missing.name} is in no folder that may be looked into{was}"


def pairs_in(folder: Path, *, frames: Sequence[Path] = ()) -> list[PairFiles]:
    """Return the pairs of a folder in the order of their names.

    Parameters
    ----------
    folder : holds results, a list of pairs, or frames.
    frames : further folders in which the frames of its results may lie.

    Raises
    ------
    InputError : no such folder, or no pair in it.
    """
    if not folder.is_dir():
        raise InputError(f"{folder}: is not a folder; name the folder that holds the pairs")
    allowed = [place.resolve() for place in (folder, *frames)]
    merged, outside = _merged(folder, allowed)
    pairs = _as_listed(merged, _listed_or_found(folder, search=not merged and not outside))
    if not pairs and outside:
        raise InputError(
            f"{folder}: {outside[0].why(places=True)}; put it back, or name its folder after this "
            "one"
        )
    if not pairs:
        raise InputError(f"{folder}: holds no pair; name the folder that holds frames or results")
    return sorted(pairs, key=lambda pair: pair.name)


def _as_listed(merged: Sequence[PairFiles], found: Sequence[PairFiles]) -> list[PairFiles]:
    """Return merged pairs with what their list says now, and those of the list that are not merged.

    A list may name two pairs of one background frame: the name tells which of them a result is of.
    A result of another name is of the pair of its background frame.
    """
    known = {pair.background.resolve() for pair in merged}
    listed = [(_known_as(pair, known), pair) for pair in found]
    results = {(pair.background.resolve(), pair.name) for pair in merged}
    named = {(frame, pair.name): pair for frame, pair in listed if (frame, pair.name) in results}
    others = {frame: pair for frame, pair in listed if (frame, pair.name) not in results}
    pairs: list[PairFiles] = []
    used: list[PairFiles] = []
    for one in merged:
        frame = one.background.resolve()
        wanted = named.get((frame, one.name)) or others.get(frame)
        pairs.append(one if wanted is None else _with_the_lists(one, wanted))
        used += [wanted] if wanted is not None else []
    return pairs + [pair for _, pair in listed if not any(pair is one for one in used)]


def _with_the_lists(merged: PairFiles, listed: PairFiles) -> PairFiles:
    """Return a merged pair with files, settings and repair of its list alone."""
    foreground = listed.foreground
    if listed.background.resolve() != merged.background.resolve():  # RAWs were merged
        foreground = prefer_raws((listed.background, foreground))[0][1]
    return replace(
        merged,
        asked=replace(merged.asked, settings=listed.asked.settings, repair=listed.asked.repair),
        listed=True,
        foreground=foreground,
        strokes=listed.strokes,
        masks=listed.masks,
        clear=listed.clear,
        bridges=listed.bridges,
        unreachable=(),
    )


def of_other_files(files: PairFiles, taken: Sequence[tuple[str, Path]]) -> bool:
    """Return whether a merge took other files than a pair names now; strokes are compared apart.

    taken : role and place of what it took; bridge frames are among them only if they were used.
    """
    masks = ((role.replace("_", "-"), path) for role, path in files.masks.items())
    now = {"background": files.background, "foreground": files.foreground, **dict(masks)}
    if files.clear is not None:
        now["clear"] = as_the_pair(files.clear, files.background)
    then = {role: path for role, path in taken if role not in ("strokes", "bridge")}
    if now.keys() != then.keys() or any(not _same(now[role], then[role]) for role in now):
        return True
    bridges = [as_the_pair(path, files.background) for path in files.bridges]
    used = [path for role, path in taken if role == "bridge"]
    return any(not any(_same(bridge, path) for bridge in bridges) for path in used)


def _same(now: Path, then: Path) -> bool:
    """Return whether a file is the one that a merge took, which may have lain elsewhere."""
    return now.samefile(then) if now.exists() and then.exists() else now.name == then.name


def taken_by(document: Mapping[str, Any]) -> tuple[tuple[str, Path], ...]:
    """Return role and path of the files of a merge, as its report names them."""
    inputs = [item for item in document.get("inputs", []) if isinstance(item, dict)]
    return tuple((str(item.get("role")), Path(str(item.get("path")))) for item in inputs)


def _known_as(pair: PairFiles, known: set[Path]) -> Path:
    """Return the background frame by which a report names a listed pair.

    A list names rendered files; a report names the RAWs that were read in their place.
    """
    own = pair.background.resolve()
    if own in known:  # merged before the RAWs lay beside it, or without the extra
        return own
    (background, _), _ = prefer_raws((pair.background, pair.foreground))
    return background.resolve()


def not_shown(folder: Path, *, frames: Sequence[Path] = (), places: bool = True) -> list[str]:
    """Return a sentence on each pair of a folder that `pairs_in` leaves out; arguments as there.

    places: whether folders of this machine may be named, which the page does not need.
    """
    allowed = [place.resolve() for place in (folder, *frames)]
    found = [
        f"a result of {lost.background} is not shown: {lost.why(places=places)}; put it back, or "
        "name its folder after this one"
        for lost in _merged(folder, allowed)[1]
    ]
    try:
        summary = read_json(folder / "summary.json", what="a summary", cure="run batch again")
        failed = [one for one in summary["pairs"] if one["status"] == "failed"]
        found += [
            f"{one['name']} is not shown: {one['reason'] if places else _placeless(one['reason'])}"
            for one in failed
            if not (folder / f"{one['name']}{_REPORT}").exists()
        ]
    except (InputError, KeyError, TypeError):  # no batch wrote here, or what it wrote is damaged
        pass
    return found


def _placeless(reason: str) -> str:
    """Return a reason with the names of files in place of their paths.

    >>> _placeless("/home/ana/shoot 3/torn.tif: is damaged; export it again")
    'torn.tif: is damaged; export it again'
    """
    return re.sub(r"(?<!\S)/(?:[^/:;,]+/)+", "", reason)


def _merged(folder: Path, allowed: Sequence[Path]) -> tuple[list[PairFiles], list[_Lost]]:
    """Return pairs that have a report, and results whose frames lie elsewhere."""
    pairs: list[PairFiles] = []
    outside: list[_Lost] = []
    for path in sorted(folder.rglob(f"*{_REPORT}")):
        document = read_report(path)
        roles = {} if document is None else _roles(document)
        if document is None or "background" not in roles or "foreground" not in roles:
            continue
        where = _Where(path, tuple(allowed))
        places = {role: _place(role, name, document, where) for role, name in roles.items()}
        background, foreground = places["background"], places["foreground"]
        if background is None or foreground is None:
            missing = roles["background" if background is None else "foreground"]
            outside.append(_Lost(Path(roles["background"]).name, Path(missing)))
            continue
        stem = path.name.removesuffix(_REPORT)
        masks = {
            role.replace("-", "_"): place
            for role, place in places.items()
            if role.replace("-", "_") in MASKS and place is not None
        }
        pairs.append(
            PairFiles(
                stem,
                background,
                foreground,
                _result_of(document, path, stem),
                masks,
                strokes=places.get("strokes"),
                clear=places.get("clear"),
                bridges=_bridges(document, where),
                asked=asked_from(document),
                bits=_bits(document),
                taken=_found(document, where),
                unreachable=tuple(
                    named
                    for role, named in roles.items()
                    if places[role] is None and role != "bridge"
                ),
            )
        )
    return pairs, outside


def read_report(path: Path) -> dict[str, Any] | None:
    """Return a report; None if there is none or it is damaged."""
    try:
        document = read_json(path, what="a report", cure="merge the pair again")
    except InputError:
        return None
    right = isinstance(document, dict) and document.get("schema") == REPORT_SCHEMA
    return document if right else None


def stamp_of(path: Path) -> tuple[int, int] | None:
    """Return time of change, ns, and size of a file, bytes; None if it is gone."""
    try:
        about = path.stat()
    except OSError:
        return None
    return about.st_mtime_ns, about.st_size


def _roles(document: dict[str, Any]) -> dict[str, str]:
    return {role: str(path) for role, path in taken_by(document)}


def _found(document: dict[str, Any], where: _Where) -> tuple[tuple[str, Path], ...]:
    """Return role and place of a report's files; what is not found, as the report names it."""
    return tuple(
        (role, _place(role, str(path), document, where) or path)
        for role, path in taken_by(document)
    )


def _bridges(document: dict[str, Any], where: _Where) -> tuple[Path, ...]:
    """Return the bridge frames that a report names, those that lie where one may look."""
    named = [str(path) for role, path in taken_by(document) if role == "bridge"]
    places = (_place("bridge", name, document, where) for name in named)
    return tuple(place for place in places if place is not None)


def _place(role: str, named: str, document: dict[str, Any], where: _Where) -> Path | None:
    """Return where a file of a report lies, if it lies in a folder that may be looked into.

    The folders of frames come before the results, which are called like their background frames.
    """
    from blendkit.batch.located import own_result, places  # noqa: PLC0415

    folders = (*where.allowed[1:], where.report.parent, where.allowed[0])
    own = own_result(document, where.report)
    for candidate in places(Path(named), role, where.report, own, folders):
        try:
            real = candidate.resolve()
        except (OSError, RuntimeError):
            continue
        if real.is_file() and any(real.is_relative_to(place) for place in where.allowed):
            return real
    return None


def _result_of(document: dict[str, Any] | None, report: Path, stem: str) -> Path:
    output = (document or {}).get("output") or {}
    suffix = Path(str(output.get("path", ""))).suffix
    known = suffix.lower() in (".tif", ".tiff", ".png", ".jpg", ".jpeg")
    return report.with_name(stem + (suffix if known else ".tif"))


def _bits(document: dict[str, Any] | None) -> int | None:
    bits = ((document or {}).get("output") or {}).get("bits")
    return bits if bits in (8, 16, 32) else None


def _listed_or_found(folder: Path, *, search: bool) -> list[PairFiles]:
    """Return the pairs of the folder's list; without one, those found among its frames."""
    from blendkit.batch.pairing import find_pairs  # noqa: PLC0415 - not needed for results alone
    from blendkit.batch.pairs_file import NAME, from_found, read_pairs  # noqa: PLC0415

    if (folder / NAME).is_file():
        return [_as_files(pair, folder) for pair in read_pairs(folder / NAME) if not pair.skip]
    if not search:
        return []
    try:
        found = find_pairs(folder)
    except InputError:  # no picture in it, or none that can be read
        return []
    why = {pair.name: pair.why for pair in found.pairs}
    return [_as_files(pair, folder, why[pair.name]) for pair in from_found(found)]


def _as_files(pair: "Pair", folder: Path, why: str = "") -> PairFiles:
    masks = {name: getattr(pair, name) for name in MASKS}
    return PairFiles(
        name=pair.name,
        background=pair.background,
        foreground=pair.foreground,
        result=folder / RESULTS / f"{pair.name}.tif",
        masks={name: path for name, path in masks.items() if path is not None},
        clear=pair.clear,
        bridges=pair.bridges,
        strokes=pair.strokes,
        asked=Asked(differing(pair.settings), repair=pair.repair or ""),
        listed=True,
        why=why,
    )
