"""Runs a repair for the command line: merge as the report says, repair, write, tell."""

import os
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

import click

from blendkit.cli.progress import shown_progress
from blendkit.errors import InputError
from blendkit.files.there import exists
from blendkit.merge import merge_pair
from blendkit.repair import Repaired, check_asked
from blendkit.report.asked import asked_from, check_own_paint
from blendkit.report.bundle import as_json as json_text
from blendkit.report.bundle import check_targets, target_paths, write_result
from blendkit.report.edited import edited_since
from blendkit.report.html import write_html
from blendkit.report.inputs import Given, Pair, check_painted_at, read_pair, with_strokes
from blendkit.report.mending import read_bridges, repaired_by
from blendkit.sidecar import (
    Sidecar,
    merge_settings,
    read_sidecar,
    sidecar_path,
    write_sidecar,
)

_MASKS = {"foreground-mask": "foreground_mask", "background-mask": "background_mask"}
_MASKS |= {"matte": "matte", "strokes": "strokes"}


def run_repair(
    document: dict[str, Any],
    mode: str,
    bridges: Sequence[Path],
    output: Path | None,
    *,
    as_json: bool,
) -> None:
    """Repair the result that a report describes and write the whole set under a new name."""
    given, asked = given_from(document), asked_from(document)
    result, bits = Path(document["output"]["path"]), document["output"]["bits"]
    target = output or _beside(result)
    paths = target_paths(target)
    page = paths["report"].with_suffix(".html")
    if target.suffix.lower() != result.suffix.lower():
        bits = None  # another kind of file has its own usual depth
    sources = [*given.paths, *bridges, result]
    check_targets(paths | {"page": page}, sources, bits=bits)
    sidecar = read_sidecar(sidecar_path(result))
    _check_untouched(target, paths["report"], sidecar)
    check_own_paint(
        asked,
        painted=bool(sidecar.strokes or given.painted),
        instead=f"give it repair = {mode!r} in pairs.toml and run `blendkit batch` again",
    )
    pair = _with_handwork(read_pair(given), sidecar)
    settings = merge_settings(document["settings"])
    thirds = read_bridges(bridges, pair)
    check_asked(mode, pair.background, [item.frame for item in thirds if item.frame is not None])
    with shown_progress(f"repairing into {target.name}") as progress:
        merged = merge_pair(
            pair.background,
            pair.hand_over(),
            hints=pair.hints,
            settings=settings,
            progress=progress,
        )
    repaired = repaired_by(merged, pair, (mode,), thirds)
    tell_attempts(repaired)
    if not any(attempt.applied for attempt in repaired.attempts):
        click.echo(f"{result} stays as it is; nothing was written", err=True)
        if as_json:
            click.echo(json_text(document | {"repairs": list(repaired.records)}))
        return
    written = write_result(
        target,
        repaired.merged,
        pair.background,
        pair.foreground,
        inputs=(*pair.inputs, *thirds),
        bits=bits,
        asked=replace(asked, handwork=""),
        repairs=repaired.records,
    )
    write_html(
        page,
        repaired.merged,
        pair.background,
        pair.foreground,
        document=written.document,
        inputs=sources,
    )
    _keep_handwork(result, target, mode)
    click.echo(f"wrote {target} and {page}", err=True)
    if as_json:
        click.echo(json_text(written.document))


def given_from(document: dict[str, Any]) -> Given:
    """Return the files that a report names; InputError where one is missing."""
    files: dict[str, Path] = {}
    for item in document["inputs"]:
        if item["role"] == "bridge":  # of a repair that is not repeated
            continue
        path = Path(item["path"])
        if not exists(path):
            raise InputError(f"{path}: the report names it, but it is gone; put it back")
        files[_MASKS.get(item["role"], item["role"])] = path
    known = {"background", "foreground", "clear", *_MASKS.values()}
    asked = asked_from(document)
    named: dict[str, Any] = {name: path for name, path in files.items() if name in known}
    return Given(**named, aligned=asked.aligned, raw_colours=asked.raw_colours)


def _with_handwork(pair: Pair, sidecar: Sidecar) -> Pair:
    """Return a pair with its sidecar's ties, and strokes where no file of them is named."""
    hints = replace(pair.hints, ties=sidecar.ties)
    check_painted_at(sidecar.size, pair.background, "the result's sidecar")
    if not any(item.role == "strokes" for item in pair.inputs):
        hints = with_strokes(hints, sidecar.strokes, pair.background.size)
    return replace(pair, hints=hints)


def _check_untouched(target: Path, report: Path, sidecar: Sidecar) -> None:
    """Raise InputError if somebody has worked on the result that this repair would replace.

    sidecar : of the result that is repaired; what the target has of it is no work of its own.
    """
    own = read_sidecar(sidecar_path(target))
    changed = (
        own.decision != "open"
        or not set(own.strokes) <= set(sidecar.strokes)
        or not set(own.ties) <= set(sidecar.ties)
        or (own.settings and own.settings != sidecar.settings)
    )
    if changed or edited_since(target, report):
        raise InputError(
            f"{target}: somebody has painted, decided or retouched there since it was repaired; "
            "give -o with another name, or move it away with its files"
        )


def _keep_handwork(result: Path, target: Path, mode: str) -> None:
    """Leave beside a repaired result what was painted and set for it, and the repair."""
    sidecar = read_sidecar(sidecar_path(result))
    kept = {"flag": "soft-midground", "mode": mode}
    inputs = {  # named from where the sidecar lies, which may be another folder now
        role: os.path.relpath(result.parent / file, target.parent).replace(os.sep, "/")
        for role, file in sidecar.inputs.items()
    }
    changed = replace(sidecar, inputs=inputs, repairs=(kept,), decision="open")
    write_sidecar(sidecar_path(target), changed)


def _beside(result: Path) -> Path:
    return result.with_name(f"{result.stem}-repaired{result.suffix}")


def tell_attempts(repaired: Repaired) -> None:
    """Say on standard error what each mode did to its flag, and why."""
    for attempt in repaired.attempts:
        done = "applied" if attempt.applied else "not applied"
        after = attempt.after or "no flag"
        click.echo(
            f"  {attempt.mode}: {attempt.flag} {attempt.before} -> {after}, {done}: {attempt.why}",
            err=True,
        )
    if not repaired.attempts:
        click.echo("  no soft mid-ground that could be repaired was found", err=True)
