"""`blendkit repair`: repair what a merge has flagged, from its report."""

from pathlib import Path
from typing import Any

import click

_FILE = click.Path(path_type=Path)
MODES = ("auto", "bridge", "extend", "taper", "sharpen")


@click.command("repair")
@click.argument("report", type=_FILE)
@click.option(
    "--repair",
    "mode",
    type=click.Choice(MODES),
    default="auto",
    help="how: a bridge frame, the sharper frame further, softer far ground, a filter",
    show_default=True,
)
@click.option(
    "--bridge", "bridges", type=_FILE, multiple=True, help="frame sharp in the mid-ground"
)
@click.option("-o", "--output", type=_FILE, help="[default: RESULT-repaired beside the result]")
@click.option("--json", "as_json", is_flag=True, help="print the report on standard output")
def command(
    *, report: Path, mode: str, bridges: tuple[Path, ...], output: Path | None, as_json: bool
) -> None:
    """Repair the soft mid-ground of a result: REPORT is its RESULT.report.json.

    The pair is merged once more with the report's own settings and then repaired, so that nothing
    is repaired twice; a repair that nobody would see is not applied.  Sharpening brings back discs
    of up to 6 px at the result's full size, however large it is: it is for small pictures.

    \b
    blendkit repair gate.report.json --repair bridge --bridge middle.tif
    """  # noqa: D301 - \b keeps click from filling the example
    from blendkit.cli.repair_run import run_repair  # noqa: PLC0415 - quick help

    run_repair(read_report(report), mode, bridges, output, as_json=as_json)


def read_report(path: Path) -> dict[str, Any]:
    """Return a report's contents.

    Raises
    ------
    InputError : missing, not JSON, not a report, or of a merge that was refused.
    """
    from blendkit.errors import InputError  # noqa: PLC0415 - quick help
    from blendkit.files.documents import read_json  # noqa: PLC0415

    document = read_json(path, what="a report", cure="give RESULT.report.json")
    if not isinstance(document, dict) or document.get("schema") != "blendkit.report/1":
        raise InputError(f"{path}: is not of schema blendkit.report/1; give RESULT.report.json")
    if document.get("output") is None:
        raise InputError(f"{path}: its merge was refused, so there is nothing to repair")
    damage = damage_in(document)
    if damage:
        raise InputError(f"{path}: {damage}; merge the pair again for a sound report")
    from blendkit.batch.located import own_result  # noqa: PLC0415
    from blendkit.files.there import exists  # noqa: PLC0415

    beside = own_result(document, path)
    for item in document["inputs"]:
        item["path"] = _located(item, path, beside)
    if exists(beside):  # the result that this very report lies beside, also in a copied folder
        document["output"]["path"] = str(beside)
    return document


def damage_in(document: dict[str, Any]) -> str:
    """Return what keeps a report from being repeated, as a clause; empty = nothing does."""
    output = document["output"]
    if not isinstance(output, dict) or not _names_file(output):
        return "it does not name the result as output.path"
    bits = output.get("bits")
    if isinstance(bits, bool) or bits not in (8, 16, 32):
        return f"output.bits = {bits!r} is none of 8, 16, 32"
    if not isinstance(document.get("settings"), dict):
        return "it does not say the settings of the merge"
    return _damage_in_inputs(document.get("inputs"))


def _damage_in_inputs(inputs: Any) -> str:
    if not isinstance(inputs, list) or not all(isinstance(item, dict) for item in inputs):
        return "it does not list the files of the merge as inputs"
    for number, item in enumerate(inputs, start=1):
        if not _names_file(item) or not isinstance(item.get("role"), str):
            return f"input {number} lacks its path or its role"
    roles = [item["role"] for item in inputs]
    for role in ("background", "foreground"):
        if roles.count(role) != 1:
            return f"it names {roles.count(role)} files as {role} frame, not one"
    return ""


def _names_file(item: dict[str, Any]) -> bool:
    path = item.get("path")
    return isinstance(path, str) and "\0" not in path and Path(path).name not in ("", "..")


def _located(item: dict[str, Any], report: Path, own: Path) -> str:
    """Return where a file is: as the report names it, as the sidecar names it, or beside it.

    In a folder that was moved the sidecar, which names files from where it lies, finds them.  A
    report that is not of this version names files as some command line did, whose working folder
    may have been another: what lies beside it comes before a stranger of the same name.

    own : the report's result, which is never one of its files.

    Raises
    ------
    InputError : the file is gone, and the result lies in its place.
    """
    from blendkit.batch.located import places  # noqa: PLC0415 - quick help
    from blendkit.errors import InputError  # noqa: PLC0415
    from blendkit.files.there import same_file  # noqa: PLC0415

    named, role = Path(item["path"]), item.get("role", "")
    found = next(places(named, role, report, own, [report.parent]), named)
    if same_file(found, own):
        raise InputError(
            f"{found}: the report names it as {role}, but its result lies there; "
            "move the result with its report elsewhere and put the file back"
        )
    return str(found)
