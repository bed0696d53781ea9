"""The whole set of files that a merge leaves behind, written at once or not at all.

Every file is first written under a temporary name; only when all of them are complete and flushed
to the disk are they renamed, the report after what is beside it, the result last.  So a result that
is there has its own report beside it.
"""

import json
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import partial
from pathlib import Path
from typing import Any

from blendkit.errors import InputError, OutputError
from blendkit.files import (
    Layers,
    atomic,
    atomic_set,
    check_labels,
    check_output,
    depth_of,
    explain,
    write_grey,
    write_labels,
    write_layers,
    write_picture,
    write_rgba,
)
from blendkit.files.checksums import sha256
from blendkit.frame import Frame
from blendkit.merge import Merged
from blendkit.report.asked import USUAL, Asked
from blendkit.report.document import Input, Output, refusal_document, report_document
from blendkit.report.labels import box_of, flag_labels
from blendkit.report.plain import Document
from blendkit.report.screen import reduced
from blendkit.settings import MergeSettings
from blendkit.sidecar import sidecar_path

_LAYERS = ("matte", "plate", "foreground")
_HALF = 0.5
PREVIEW_QUALITY = 88


@dataclass(frozen=True, slots=True)
class Written:
    """What was written: files by what they are, and the report's contents."""

    paths: Mapping[str, Path]
    document: Document


def target_paths(
    path: Path | str,
    *,
    layers: bool = False,
    pages: bool = False,
    report: Path | str | None = None,
    zones: Path | str | None = None,
) -> dict[str, Path]:
    """Return the files that belong to a result, by what they are, the result itself first.

    Examples
    --------
    >>> [str(name) for name in target_paths("gate.tif", layers=True).values()]
    ['gate.tif', 'gate.report.json', 'gate.flags.png', 'gate.sources.png', 'gate.preview.jpg',
     'gate.matte.tif', 'gate.plate.tif', 'gate.foreground.tif']
    """
    target = Path(path)
    told = None if report is None else Path(report)
    for named in (target, told):
        if named is not None and not named.name:
            raise OutputError(f"{named}: this is a folder: name a file in it")
    endings = {"flags": "flags.png", "sources": "sources.png", "preview": "preview.jpg"}
    if layers:
        endings |= {name: f"{name}.tif" for name in _LAYERS}
    if pages:
        endings["pages"] = "layers.tif"
    beside = {name: target.with_name(f"{target.stem}.{end}") for name, end in endings.items()}
    if zones is not None:
        beside["zones"] = Path(zones)
    own_report = target.with_name(f"{target.stem}.report.json")
    return {"result": target, "report": told or own_report, **beside}


def check_targets(
    paths: Mapping[str, Path], inputs: Sequence[Path | str], *, bits: int | None = None
) -> None:
    """Raise, before any work, if one of the files cannot be written or two have one name.

    The result's sidecar counts among them: it is written after the result, and read before.

    bits : depth asked for the result; None = the usual one of its kind of file.
    """
    depth_of(paths["result"], bits)
    if "zones" in paths:
        check_labels(paths["zones"])
    named: dict[Path, str] = {}
    for what, path in (*paths.items(), ("sidecar", sidecar_path(paths["result"]))):
        check_output(path, inputs)
        other = named.setdefault(path.resolve(), what)
        if other != what:
            raise InputError(f"{path}: the {what} would replace the {other}; choose another name")


def write_result(
    path: Path | str,
    merged: Merged,
    background: Frame,
    foreground: Frame,
    *,
    inputs: Sequence[Input],
    bits: int | None = None,
    layers: bool = False,
    pages: bool = False,
    asked: Asked = USUAL,
    report: Path | str | None = None,
    zones: Path | str | None = None,
    repairs: Sequence[Mapping[str, Any]] = (),
    time_s: Mapping[str, float] | None = None,
    sealed: Callable[[Written, Mapping[str, Path]], None] | None = None,
) -> Written:
    """Write a result with everything that belongs to it.

    Parameters
    ----------
    path : of the result, .tif, .png or .jpg; the others are named after it.
    merged : what `merge_pair` gave.
    background, foreground : the frames, for profile, resolution and Exif.
    inputs : every file that went in; none of them is ever overwritten.
    bits : of the result; None takes 16, for JPEG 8.
    layers : write matte, plate and foreground too.
    pages : write all layers as named pages of one TIFF too.
    asked : what was asked besides the files, for the report; if it was to be private, place and
        serial numbers stay out of everything that is written.
    report : another path for the report.
    zones : also write the numbered zones, 8-bit PNG, here.
    repairs, time_s : for the report, see `report_document`.
    sealed : called once every file is complete under a temporary name and none is renamed yet,
        with what will be there and the temporary names; what it raises leaves everything as it was.

    Returns
    -------
    Written

    Raises
    ------
    InputError, OutputError : nothing was written.
    """
    paths = target_paths(path, layers=layers, pages=pages, report=report, zones=zones)
    sources = [item.path for item in inputs]
    check_targets(paths, sources, bits=bits)
    height, width = merged.pixels.shape[:2]
    depth = depth_of(paths["result"], bits)
    document = report_document(
        merged,
        inputs=inputs,
        output=Output(
            paths["result"],
            width,
            height,
            depth,
            replace(asked, layers=layers),
            box_of(merged.sitter > _HALF),
        ),
        repairs=repairs,
        time_s=time_s,
    )
    for item, given in zip(document["inputs"], inputs, strict=True):
        item["sha256"] = _digest(given.path)  # tells whether another picture lies there later
    writers = _writers(merged, background, foreground, depth, private=asked.private)
    written_alone = writers["result"]

    def write_and_note(target: Path) -> None:
        written_alone(target)
        document["output"]["sha256"] = sha256(target)  # tells whether it is edited later

    writers |= {
        "result": write_and_note,
        "report": lambda target: _write_json(target, document),
    }
    written = Written(paths, document)
    _write_together(written, writers, sources, sealed)
    refusal = refusal_path(paths["report"])
    if refusal != paths["report"]:
        refusal.unlink(missing_ok=True)  # of an older attempt
    return written


def _digest(path: Path) -> str | None:
    try:
        return sha256(path)
    except OSError:  # gone since it was read
        return None


def refusal_path(report: Path) -> Path:
    """Return where a refusal is written: in the report's place, unless a result there has it.

    A result that is there keeps its own report, whatever became of the merge that was to follow.
    """
    try:
        there = json.loads(report.read_text(encoding="utf-8"))["output"] is not None
    except (OSError, ValueError, KeyError, TypeError):
        there = False
    name = report.name.removesuffix(".json").removesuffix(".report")
    return report.with_name(f"{name}.refusal.json") if there else report


def write_refusal(
    path: Path | str,
    reason: str,
    *,
    advice: str = "",
    inputs: Sequence[Input],
    settings: MergeSettings,
    time_s: Mapping[str, float] | None = None,
) -> Document:
    """Write, and return, the report of a pair that could not be aligned."""
    document = refusal_document(
        reason, advice=advice, inputs=inputs, settings=settings, time_s=time_s
    )
    with atomic(path, [item.path for item in inputs]) as temporary:
        _write_json(temporary, document)
    return document


def as_json(document: Document) -> str:
    """Return a report as JSON text."""
    return json.dumps(document, indent=1, allow_nan=False, ensure_ascii=False)


def _write_json(target: Path, document: Document) -> None:
    # A file name that is not UTF-8 holds lone surrogates; escaped they are JSON again.
    target.write_text(as_json(document) + "\n", encoding="utf-8", errors="backslashreplace")


def _writers(
    merged: Merged, background: Frame, foreground: Frame, depth: int, *, private: bool
) -> dict[str, Callable[[Path], None]]:
    size = (merged.pixels.shape[1], merged.pixels.shape[0])
    matte = merged.matte
    # Everything carries a note of the merge: wherever it lies, pairing takes it for no frame.
    beside: dict[str, Any] = {"like": background, "second": foreground, "private": private}
    shown = partial(write_picture, like=background, second=foreground, private=private)
    return {
        "result": lambda to: shown(to, merged.pixels, bits=depth),
        "flags": lambda to: write_labels(to, flag_labels(merged.flags, size), layer="flags"),
        "sources": lambda to: write_labels(to, merged.sources, layer="sources"),
        "zones": lambda to: write_labels(to, merged.zones, layer="zones"),
        "preview": lambda to: shown(to, reduced(merged.pixels), quality=PREVIEW_QUALITY),
        "pages": lambda to: write_layers(to, _layers_of(merged), **beside),
        "matte": lambda to: write_grey(to, matte.alpha, layer="matte"),
        "plate": lambda to: write_picture(to, merged.plate.pixels, bits=16, **beside),
        "foreground": lambda to: write_rgba(to, matte.color, matte.alpha, bits=16, **beside),
    }


def _layers_of(merged: Merged) -> Layers:
    return Layers(
        merged.pixels, merged.matte.color, merged.plate.pixels, merged.matte.alpha, merged.sources
    )


def _write_together(
    written: Written,
    writers: Mapping[str, Callable[[Path], None]],
    inputs: Sequence[Path],
    sealed: Callable[[Written, Mapping[str, Path]], None] | None,
) -> None:
    """Write all files under temporary names, then rename them, the first of the paths last."""
    paths = written.paths
    with atomic_set(list(paths.values()), inputs) as places:
        temporary = dict(zip(paths, places, strict=True))
        for what, place in temporary.items():
            try:
                writers[what](place)
            except OutputError as error:
                # the sentence shall name the file that was asked for
                raise OutputError(str(error).replace(str(place), str(paths[what]))) from error
            except OSError as error:
                raise OutputError(f"{paths[what]}: {explain(error)}") from error
        if sealed is not None:
            sealed(written, temporary)
