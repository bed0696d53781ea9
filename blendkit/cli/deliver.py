"""`blendkit deliver`: results as the print lab wants them."""

import json
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager, suppress
from dataclasses import asdict, fields
from pathlib import Path
from typing import Any

import click

from blendkit.errors import OutputError
from blendkit.settings import DeliverySettings

FLAGS = {
    "dpi": "--dpi",
    "long_edge_px": "--long-edge",
    "enlarge": "--enlarge",
    "fit": "--fit",
    "trim": "--trim",
    "border": "--border",
    "profile": "--profile",
    "intent": "--intent",
    "black_point_compensation": "--bpc/--no-bpc",
    "format": "--format",
    "bits": "--bits",
    "quality": "--quality",
    "subsampling": "--subsampling",
    "sharpen": "--sharpen",
    "sharpen_disc_px": "--sharpen-disc",
    "name": "--name",
    "private": "--private",
}
"""Settings that are options as they are; their help comes from the field."""


def delivery_options(function: Callable[..., None]) -> Callable[..., None]:
    """Add the options of `DeliverySettings` to a command."""
    items = {item.name: item for item in fields(DeliverySettings)}
    for name, flag in reversed(FLAGS.items()):
        item = items[name]
        switch = isinstance(item.default, bool)
        choices = item.metadata["choices"]
        kind: Any = click.Choice(choices) if choices else type(item.default)
        kind = int if name == "long_edge_px" else kind
        unit = item.metadata["unit"]
        option = click.option(
            flag,
            name,
            is_flag=switch,
            type=None if switch else kind,
            default=item.default,
            show_default=item.default is not None and not switch,
            metavar=unit.upper() or None if not choices and not switch else None,
            help=item.metadata["help"],
        )
        function = option(function)
    print_option = click.option(
        "--print", "print_cm", metavar="WxH", help="size of the print in cm, as in 30x20"
    )
    return print_option(function)


def settings_from(print_cm: str | None, **given: Any) -> DeliverySettings:
    """Return the settings that the options of `delivery_options` stand for."""
    from blendkit.files.delivery_spec import (  # noqa: PLC0415 - keeps help quick
        delivery_settings,
        print_size_cm,
    )

    flags = FLAGS | {"print_width_cm": "--print: width", "print_height_cm": "--print: height"}
    return delivery_settings(flags, (print_size_cm(print_cm) if print_cm else {}) | given)


@click.command("deliver")
@click.argument("results", nargs=-1, required=True, type=click.Path(path_type=Path))
@click.option(
    "--to",
    "folder",
    type=click.Path(path_type=Path),
    help="folder to write to; made if its own folder is there",
)
@click.option(
    "--around", type=click.Path(path_type=Path), help="mask of the sitter, for --fit crop"
)
@delivery_options
@click.option("--json", "as_json", is_flag=True, help="print what was delivered as JSON")
def command(
    results: tuple[Path, ...],
    folder: Path | None,
    around: Path | None,
    as_json: bool,
    **given: Any,
) -> None:
    """Write RESULTS as the print lab wants them.

    Each copy is read back and checked; checksums.sha256 beside the copies lists them.  The results
    themselves are never changed.
    """
    settings = settings_from(**given)
    with _made(folder):
        delivered = _deliver_all(results, settings, folder, around, as_json=as_json)
    if as_json:
        records = [asdict(done) | {"path": str(done.path)} for done in delivered]
        click.echo(json.dumps({"schema": "blendkit.delivery/1", "delivered": records}, indent=1))


def _deliver_all(
    results: Sequence[Path],
    settings: DeliverySettings,
    folder: Path | None,
    around: Path | None,
    *,
    as_json: bool,
) -> list[Any]:
    """Deliver results one after the other and tell each."""
    from blendkit.files.deliver import Delivered, deliver  # noqa: PLC0415 - keeps help quick
    from blendkit.report.covered import covered_beside  # noqa: PLC0415

    delivered: list[Delivered] = []
    for number, result in enumerate(results, start=1):
        subject = _subject(around, result)
        done = deliver(
            result,
            settings,
            folder=folder,
            subject=subject,
            covered=covered_beside(result) if settings.trim else None,
            number=number,
            inputs=[*results, *([around] if around is not None else [])],
            taken=[earlier.path for earlier in delivered],
        )
        delivered.append(done)
        click.echo(_line(done), err=as_json)
        for note in done.notes:
            click.echo(f"  {note}", err=as_json)
    return delivered


@contextmanager
def _made(folder: Path | None) -> Iterator[None]:
    """Make the folder to write to; where nothing came of it, it is not left behind."""
    made = folder is not None and _make(folder)
    try:
        yield
    except BaseException:
        if made and folder is not None:
            with suppress(OSError):  # copies lie in it by now
                folder.rmdir()
        raise


def _make(folder: Path) -> bool:
    """Make the folder to write to, as batch makes its own; return whether it was not there."""
    from blendkit.files.there import exists, is_folder  # noqa: PLC0415 - keeps help quick

    if exists(folder) and not is_folder(folder):
        raise OutputError(f"--to {folder}: is a file; name a folder")
    if not exists(folder) and is_folder(folder.parent):
        try:
            folder.mkdir()
        except OSError as error:
            raise OutputError(
                f"--to {folder}: cannot be made ({error.strerror}); choose another"
            ) from error
        return True
    return False


def _subject(around: Path | None, result: Path) -> Any:
    from blendkit.files import read_frame, read_mask  # noqa: PLC0415 - keeps help quick

    return read_mask(around, size=read_frame(result).size) if around is not None else None


def _line(done: Any) -> str:
    width, height = done.size
    gamut = f"{done.gamut.share:.2%} outside the gamut"
    if done.gamut.share:
        gamut += f", by {done.gamut.largest:.1f} at most"
    size = f"{width} x {height} px, {done.resolution_dpi:.0f} dpi"
    return f"{done.path}: {size}, {done.profile}, {gamut}"
