"""Repairs with the files that they need: for command line, batch and page alike."""

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any, cast

from blendkit.errors import InputError
from blendkit.files import as_the_pair, read_frame
from blendkit.files.capture import read_capture
from blendkit.files.raw import is_raw
from blendkit.merge import Merged
from blendkit.repair import Attempt, Mode, Repaired, repair_result
from blendkit.report.document import Input
from blendkit.report.inputs import Pair

NO_REPAIR = "none"
"""In place of a mode: whatever else says that there is something to repair, nothing is."""


def modes_of(
    kept: Sequence[Mapping[str, Any]], bridges: Sequence[Path], asked: str = ""
) -> tuple[str, ...]:
    """Return the repairs a pair asks for: kept in its sidecar, asked for, else its bridge frames.

    asked : mode in the pair's list or on the command line, NO_REPAIR for none; empty says nothing.

    Examples
    --------
    >>> kept = [{"flag": "soft-midground", "mode": "taper"}]
    >>> modes_of([], [Path("middle.tif")]), modes_of(kept, [Path("middle.tif")])
    (('bridge',), ('taper',))
    >>> modes_of([{"flag": "", "mode": "none"}], [Path("middle.tif")], "sharpen")
    ()
    """
    if kept:
        modes = (str(one.get("mode")) for one in kept)
        return tuple(mode for mode in modes if mode != NO_REPAIR)
    if asked:
        return () if asked == NO_REPAIR else (asked,)
    return ("bridge",) if bridges else ()


def read_bridges(paths: Sequence[Path], pair: Pair) -> tuple[Input, ...]:
    """Read bridge frames in the background frame's profile, as they stand in the report.

    Their RAWs are read, if there are any, where the pair's were.

    Raises
    ------
    InputError : a file that cannot be read, or of another size than the pair.
    """
    found = []
    for named in paths:
        path = _as_named(named, pair)
        frame = read_frame(path, match=pair.background)
        _check_size(frame.name, frame.size, pair)
        found.append(Input(path, "bridge", frame))
    return tuple(found)


def check_bridges(paths: Sequence[Path], pair: Pair) -> None:
    """Read the heads of bridge frames before a merge that takes a minute: it would be for nothing.

    Raises
    ------
    InputError : a file that is missing, that is no picture, or of another size than the pair.
    """
    for named in paths:
        path = _as_named(named, pair)
        _, size = read_capture(path)
        if not is_raw(path):  # how a RAW comes out is known once it is developed
            _check_size(path.name, size, pair)


def _as_named(named: Path, pair: Pair) -> Path:
    own = next((item.path for item in pair.inputs if item.role == "background"), None)
    return named if own is None else as_the_pair(named, own)


def _check_size(name: str, size: tuple[int, int], pair: Pair) -> None:
    if size != pair.background.size:
        one, other = ("x".join(map(str, item)) for item in (size, pair.background.size))
        raise InputError(f"{name} is {one}, {pair.background.name} {other}: use one size")


def repaired_by(
    merged: Merged, pair: Pair, modes: Sequence[str], bridges: Sequence[Input] = ()
) -> Repaired:
    """Carry out repairs one after the other, each on what the one before it left.

    Parameters
    ----------
    merged : what `merge_pair` gave for the pair.
    modes : of `repair.MODES`, in order; none leaves the merge as it is.
    bridges : from `read_bridges`.

    Raises
    ------
    InputError : an unknown mode, or `bridge` without a bridge frame.
    """
    frames = [item.frame for item in bridges if item.frame is not None]
    attempts: list[Attempt] = []
    for mode in modes:
        done = repair_result(
            merged,
            pair.background,
            pair.foreground,
            mode=cast("Mode", mode),
            bridges=frames,
            nearer=pair.hints.nearer,
        )
        merged = done.merged
        attempts += done.attempts
    return Repaired(merged, tuple(attempts))
