"""What was asked of a merge besides its files, kept in its report so that it can be repeated."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from blendkit.errors import InputError
from blendkit.sidecar import merge_settings

RAW_COLOURS = "wide"
"""Profile that RAWs are developed to unless another is asked for, see `files.raw.COLOURS`."""


@dataclass(frozen=True, slots=True)
class Asked:
    """What was asked of a merge besides its files.

    settings: given for this pair, {stage: {field: value}}; those of its sidecar are not among them.
    aligned, raw_colours: see `report.inputs.Given`.
    private: leave place and serial numbers out of whatever is written.
    handwork: digest of the strokes, ties and settings that it was made with; empty = not told.
    layers: matte, plate and foreground were written too.
    repair: mode of repair, "none" for none; empty = what bridges and the sidecar say.
    lent_by: name of the pair whose masks and strokes it used; empty = none.
    """

    settings: Mapping[str, Mapping[str, Any]] = field(default_factory=dict)
    aligned: bool = False
    raw_colours: str = RAW_COLOURS
    private: bool = False
    handwork: str = ""
    layers: bool = False
    repair: str = ""
    lent_by: str = ""


USUAL = Asked()


def check_own_paint(asked: Asked, *, painted: bool, instead: str) -> None:
    """Raise InputError for a merge that used what was painted for another pair.

    Its report names no files of that paint, so repeated from the report the pair would lose it.
    painted: whether it has paint of its own; instead: what to do, as a clause.
    """
    if asked.lent_by and not painted:
        raise InputError(f"this pair uses what was painted for {asked.lent_by}: {instead}")


def asked_from(document: Mapping[str, Any]) -> Asked:
    """Return what a report says was asked; the usual where it says nothing that can be used."""
    output = document.get("output")
    said = output.get("asked") if isinstance(output, Mapping) else None
    if not isinstance(said, Mapping):
        return USUAL
    settings = said.get("settings") or {}
    try:
        merge_settings(settings)
    except InputError:
        settings = {}
    return Asked(
        settings=settings,
        aligned=said.get("aligned") is True,
        raw_colours=str(said.get("raw_colours") or RAW_COLOURS),
        private=said.get("private") is True,
        handwork=str(said.get("handwork") or ""),
        layers=said.get("layers") is True,
        repair=str(said.get("repair") or ""),
        lent_by=str(said.get("lent_by") or ""),
    )
