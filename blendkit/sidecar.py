"""The sidecar of a pair: what was painted, set, repaired and decided, beside the pair's result.

`merge`, `batch` and `review` read and write the same file, so that what one knows the others use.
It is written whole or not at all.
"""

import json
from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass, field, fields, replace
from pathlib import Path
from typing import Any, Literal, cast, get_args

from blendkit.errors import InputError
from blendkit.files.atomic import atomic
from blendkit.files.documents import read_json
from blendkit.files.there import exists
from blendkit.masks.strokes import Stroke, strokes_document, strokes_from
from blendkit.settings import MergeSettings

SCHEMA = "blendkit.sidecar/1"
ENDING = ".blendkit.json"
Decision = Literal["open", "accepted", "sent-back", "skipped"]
Tie = tuple[tuple[float, float], tuple[float, float]]


@dataclass(frozen=True, slots=True)
class Sidecar:
    """What is known of a pair besides its frames.

    inputs: file names by role, relative to the sidecar's folder.
    size: (width, height) of the background frame, px; None until something was painted.
    strokes: in px of the background frame.
    ties: pairs of (background x, y), (foreground x, y) in px.
    settings: what differs from the defaults, {stage: {field: value}}.
    repairs: what was kept, each {"flag", "mode"}; the mode "none" where it was taken back.
    """

    inputs: Mapping[str, str] = field(default_factory=dict)
    size: tuple[int, int] | None = None
    strokes: tuple[Stroke, ...] = ()
    ties: tuple[Tie, ...] = ()
    settings: Mapping[str, Mapping[str, Any]] = field(default_factory=dict)
    repairs: tuple[Mapping[str, Any], ...] = ()
    decision: Decision = "open"


def sidecar_path(result: Path | str) -> Path:
    """Return where the sidecar of a result lies.

    >>> sidecar_path("out/gate.tif").name
    'gate.blendkit.json'
    """
    target = Path(result)
    return target.with_name(target.stem + ENDING)


def read_sidecar(path: Path) -> Sidecar:
    """Read a sidecar; an empty one if there is no file.

    Raises
    ------
    InputError : damaged, or of another schema.
    """
    if not exists(path):
        return Sidecar()
    document = read_json(path, what="a sidecar of a pair", cure="move it away")
    return _from_document(document, path.name)


def write_sidecar(path: Path, sidecar: Sidecar) -> None:
    """Write a sidecar, whole or not at all."""
    text = json.dumps(_document(sidecar), indent=1, ensure_ascii=False, allow_nan=False)
    with atomic(path) as temporary:
        temporary.write_text(text + "\n", encoding="utf-8", errors="backslashreplace")


def merge_settings(
    overrides: Mapping[str, Mapping[str, Any]], base: MergeSettings | None = None
) -> MergeSettings:
    """Return settings in which the overrides {stage: {field: value}} are set.

    Raises
    ------
    InputError : a stage or field that there is not, or a value out of range.
    """
    settings = base or MergeSettings()
    if not isinstance(overrides, Mapping):
        raise InputError(
            f"settings: {overrides!r} is no table of stages; write {{stage: {{name: value}}}}"
        )
    known = {item.name for item in fields(MergeSettings)}
    for stage, values in overrides.items():
        if stage not in known or not isinstance(values, Mapping):
            raise InputError(f"settings: no stage {stage!r}; there are {', '.join(sorted(known))}")
        settings = replace(settings, **{stage: _stage(getattr(settings, stage), stage, values)})
    return settings


def _stage(stage: Any, name: str, values: Mapping[str, Any]) -> Any:
    known = {item.name: item for item in fields(stage)}
    for field_name, value in values.items():
        if field_name not in known:
            raise InputError(
                f"settings: {name} has no {field_name!r}; there are {', '.join(sorted(known))}"
            )
        _check_kind(f"{name}.{field_name}", value, known[field_name].default)
    try:
        return replace(stage, **values)
    except TypeError as error:
        raise InputError(f"settings: {name}: {error}; give numbers") from error


def _check_kind(name: str, value: Any, usual: Any) -> None:
    """Raise InputError unless a value is of the kind of its default."""
    if value is None and usual is None:
        return
    whole = isinstance(usual, int) and not isinstance(usual, bool)
    if whole and isinstance(value, float):
        raise InputError(f"settings: {name} = {value!r}: give a whole number")
    wanted: Any = (
        bool if isinstance(usual, bool) else str if isinstance(usual, str) else (int, float)
    )
    if not isinstance(value, wanted) or (wanted == (int, float) and isinstance(value, bool)):
        kind = {bool: "true or false", str: "a word"}.get(wanted, "a number")
        raise InputError(f"settings: {name} = {value!r}: give {kind}")


def _document(sidecar: Sidecar) -> dict[str, Any]:
    size = sidecar.size
    return {
        "schema": SCHEMA,
        "inputs": dict(sidecar.inputs),
        "strokes": None if size is None else strokes_document(sidecar.strokes, size),
        "ties": sidecar.ties,
        "settings": {stage: dict(values) for stage, values in sidecar.settings.items()},
        "repairs": [dict(item) for item in sidecar.repairs],
        "decision": sidecar.decision,
    }


def _from_document(document: Any, name: str) -> Sidecar:
    if not isinstance(document, dict) or document.get("schema") != SCHEMA:
        raise InputError(f"{name}: is not of schema {SCHEMA}; move it away")
    decision = document.get("decision", "open")
    if decision not in get_args(Decision):
        raise InputError(
            f"{name}: decision {decision!r} is none of {', '.join(get_args(Decision))}; "
            "correct it or move it away"
        )
    painted = document.get("strokes")
    settings = document.get("settings") or {}
    try:
        merge_settings(settings)
    except InputError as error:
        raise InputError(f"{name}: {error}; correct it or move it away") from error
    try:
        return Sidecar(
            inputs={
                str(role): str(file) for role, file in dict(document.get("inputs") or {}).items()
            },
            size=None if painted is None else _size(painted["size"]),
            strokes=() if painted is None else strokes_from(painted, name=name),
            ties=ties_from(document.get("ties") or ()),
            settings=settings,
            repairs=tuple(dict(item) for item in document.get("repairs") or ()),
            decision=cast("Decision", decision),
        )
    except (TypeError, ValueError, KeyError, OverflowError) as error:
        raise InputError(f"{name}: is damaged ({error}); move it away") from error


def _size(values: Sequence[Any]) -> tuple[int, int]:
    width, height = (int(value) for value in values)
    return width, height


def ties_from(values: Sequence[Any]) -> tuple[Tie, ...]:
    """Return ties from lists of numbers; ValueError or TypeError if they are none."""
    ties = []
    try:
        for (bx, by), (fx, fy) in values:
            ties.append(((float(bx), float(by)), (float(fx), float(fy))))
    except OverflowError as error:  # a whole number of hundreds of digits
        raise ValueError(str(error)) from error
    return tuple(ties)


def differing(settings: MergeSettings) -> dict[str, dict[str, Any]]:
    """Return what differs from the defaults, {stage: {field: value}}.

    >>> from blendkit.settings import DiscSettings
    >>> differing(MergeSettings(discs=DiscSettings(disc_px=40.0)))
    {'discs': {'disc_px': 40.0}}
    """
    own, usual = asdict(settings), asdict(MergeSettings())
    found = {
        stage: {name: value for name, value in values.items() if value != usual[stage][name]}
        for stage, values in own.items()
    }
    return {stage: values for stage, values in found.items() if values}
