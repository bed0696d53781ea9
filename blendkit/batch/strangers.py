"""Files in an output folder that no merge wrote: a batch stops before it replaces one of them."""

from collections.abc import Iterable, Sequence
from pathlib import Path

from blendkit.batch.folder import RECORDS, named_by
from blendkit.batch.ledger import files_of
from blendkit.errors import InputError
from blendkit.files.documents import read_json
from blendkit.files.mark import is_marked
from blendkit.report.bundle import target_paths
from blendkit.report.document import SCHEMA

_SUMMARIES = ("summary.json", "summary.html")


def check_strangers(out: Path, outputs: Sequence[tuple[str, Path]], *, layers: bool) -> None:
    """Raise, before any work, if a merge would replace a file that none has written.

    A camera's own JPEG may lie there under the very name that a result is going to have.

    Parameters
    ----------
    out : the output folder.
    outputs : name and result of every pair that is going to be merged.
    layers : whether matte, plate and foreground are written too.

    Raises
    ------
    InputError : names the file.
    """
    strangers = list(_strangers(out, outputs, layers=layers))
    if strangers:
        more = f" (and {len(strangers) - 1} more)" if len(strangers) > 1 else ""
        raise InputError(
            f"{strangers[0]}{more}: is there already and is no result of a merge; "
            "choose another --out or --format"
        )
    for name, output in outputs:
        other = _of_another_kind(output)
        if other is not None:
            raise InputError(
                f"{other}: is the result of {name}, with what was retouched and decided: for a "
                f"JPEG of it give --deliver full; to merge anew as {output.suffix} move it away, "
                "or choose another --out"
            )


def _of_another_kind(output: Path) -> Path | None:
    """Return the result in whose place, under another suffix, a merge would put its own.

    Both would have one report and one sidecar, which can vouch for one picture alone.
    """
    other = output.with_name(
        named_by(output.with_name(f"{output.stem}.report.json")) or output.name
    )
    alike = other.stem == output.stem and other.name != output.name
    return other if alike and other.is_file() else None


def _strangers(out: Path, outputs: Iterable[tuple[str, Path]], *, layers: bool) -> Iterable[Path]:
    records = out / RECORDS
    if not records.is_dir():  # the summaries of a folder that has records are a batch's
        yield from (out / name for name in _SUMMARIES if (out / name).exists())
    for name, output in outputs:
        owned = files_of(records, name)
        paths = target_paths(output, layers=layers)
        for what, path in paths.items():
            known = path.name in owned or not path.exists()
            if not known and not _goes_with(path, paths["report"], result=what == "result"):
                yield path


def _goes_with(path: Path, report: Path, *, result: bool) -> bool:
    """Return whether a file is ours: marked, or vouched for by our report beside it.

    The report of a result vouches for no picture but the one that it names.  Where it names
    another, a marked one is somebody's: of an earlier merge, and perhaps retouched since.
    """
    if result and (named := named_by(report)):
        return named == path.name
    if is_marked(path):
        return True
    if result:
        return False
    try:
        document = read_json(report, what="a report", cure="move it away")
    except InputError:
        return False
    return isinstance(document, dict) and document.get("schema") == SCHEMA
