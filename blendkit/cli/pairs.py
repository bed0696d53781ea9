"""`blendkit pairs`: find the pairs of a shoot and write them down."""

import json
from pathlib import Path
from typing import Any

import click

from blendkit.errors import OutputError

_FILE = click.Path(path_type=Path)


@click.command("pairs")
@click.argument("folder", type=_FILE)
@click.option("-o", "--output", type=_FILE, help="where to write [default: FOLDER/pairs.toml]")
@click.option("--replace", is_flag=True, help="replace a list that is there, with what you edited")
@click.option("--json", "as_json", is_flag=True, help="also print what was found as JSON")
def command(*, folder: Path, output: Path | None, replace: bool, as_json: bool) -> None:
    """Find the pairs among the frames in FOLDER and write them to pairs.toml.

    Frames are told apart by what the camera recorded and by how alike they look.  Read the list,
    edit it, then run blendkit batch with it.
    """
    from blendkit.batch.folder import find_frames  # noqa: PLC0415 - keeps help quick
    from blendkit.batch.pairing import find_pairs  # noqa: PLC0415
    from blendkit.batch.pairs_file import NAME, write_pairs  # noqa: PLC0415
    from blendkit.cli.progress import shown_progress  # noqa: PLC0415
    from blendkit.files import check_output  # noqa: PLC0415

    target = output or folder / NAME
    find_frames(folder)  # complains, if it must, before anything else is said
    check_output(target)
    if target.exists() and not replace:
        raise OutputError(
            f"{target}: is there already, perhaps edited; add --replace, or -o another name"
        )
    with shown_progress(f"looking through {folder}") as progress:
        found = find_pairs(folder, told=progress)
    write_pairs(target, found)
    for line in _lines(found):
        click.echo(line, err=as_json)
    click.echo(f"wrote {target}", err=True)
    if as_json:
        click.echo(json.dumps(_document(found), indent=1, ensure_ascii=False))


def _lines(found: Any) -> list[str]:
    width = max((len(pair.name) for pair in found.pairs), default=0)
    lines = [
        f"{pair.name:{width}}  {pair.background.name} + {pair.foreground.name}  "
        f"sure {pair.certainty:.2f}  {pair.why}"
        for pair in found.pairs
    ]
    lines += [f"left alone: {path.name}: {reason}" for path, reason in found.alone]
    lines += list(found.notes)
    frames = len({pair.background for pair in found.pairs} | {p.foreground for p in found.pairs})
    told = f"{_counted(len(found.pairs), 'pair')} of {_counted(frames, 'frame')}"
    return [*lines, f"{told}, {len(found.alone)} left alone"]


def _counted(number: int, what: str) -> str:
    return f"{number} {what}" if number == 1 else f"{number} {what}s"


def _document(found: Any) -> dict[str, Any]:
    folder = found.folder
    return {
        "schema": "blendkit.pairs/1",
        "folder": str(folder),
        "pairs": [
            {
                "name": pair.name,
                "kind": pair.kind,
                "setup": pair.setup,
                "background": str(pair.background),
                "foreground": str(pair.foreground),
                "clear": None if pair.clear is None else str(pair.clear),
                "bridges": [str(path) for path in pair.bridges],
                "certainty": pair.certainty,
                "why": pair.why,
            }
            for pair in found.pairs
        ],
        "alone": [{"path": str(path), "reason": reason} for path, reason in found.alone],
        "notes": list(found.notes),
    }
