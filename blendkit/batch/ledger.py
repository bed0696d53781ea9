"""What a batch remembers in its output folder: which pairs are done, and with which files.

A pair's record is written twice.  *Sealed*: its files are complete, but still under temporary
names; the record holds the checksums that they will have.  *Done*: all of them are in their places,
and so are the copies for the lab.  Each file appears whole or not at all.  So a run that was killed
at any moment leaves a record that holds, one whose files are not all there yet, or none; and a
result that is there is never made a second time.

Copies for the lab are no part of what a record is of: other copies of a finished result are written
without a merge.
"""

import json
import os
import re
from collections.abc import Iterable, Iterator, Mapping
from contextlib import contextmanager, suppress
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import psutil
from filelock import FileLock, Timeout

from blendkit.batch.folder import RECORDS
from blendkit.batch.records import Job, Outcome, outcome_from
from blendkit.errors import OutputError
from blendkit.files.atomic import atomic, explain
from blendkit.files.checksums import sha256
from blendkit.files.delivery_name import names_number
from blendkit.files.delivery_spec import parse_delivery

_TEMPORARY = re.compile(r"\..*\.(\d+)\.[^.]+\.part\.[^.]+")


@contextmanager
def opened(out: Path) -> Iterator[Path]:
    """Give the folder of records inside an output folder, for this run alone.

    Raises
    ------
    OutputError : it cannot be made, or another run is at work there.
    """
    records = out / RECORDS
    try:
        records.mkdir(parents=True, exist_ok=True)
        lock = FileLock(records / "lock", timeout=0)
        lock.acquire()
    except Timeout as error:
        raise OutputError(f"{out}: another batch is at work there; wait for it to end") from error
    except OSError as error:
        raise OutputError(f"{out}: {explain(error)}") from error
    try:
        sweep(out)
        yield records
        sweep(out)
    finally:
        lock.release()


def sweep(out: Path) -> None:
    """Remove temporary files that a killed run has left, not those that others are writing."""
    for folder in (out, out / RECORDS):
        for path in folder.glob(".*.part.*"):
            writer = _TEMPORARY.fullmatch(path.name)
            with suppress(OSError):
                if writer is not None and not _writes(int(writer[1]), path):
                    path.unlink()


def _writes(number: int, path: Path) -> bool:
    """Return whether the process of a number lives, on this machine, and is as old as a file."""
    try:
        process = psutil.Process(number)
        lives = process.status() != psutil.STATUS_ZOMBIE
        return bool(lives and process.create_time() <= path.stat().st_mtime + 1)
    except psutil.Error:
        return False


def record_path(records: Path, name: str) -> Path:
    """Return where a pair's record lies."""
    return records / f"{name}.json"


@dataclass(frozen=True, slots=True)
class Sealed:
    """What a sealed record vouches for.

    subject: box (x, y, width, height) px of the sitter, for crops; None = there is none.
    """

    outcome: Outcome
    files: tuple[Path, ...]
    subject: tuple[int, int, int, int] | None


def seal(
    job: Job,
    outcome: Outcome,
    parts: Mapping[Path, Path],
    *,
    subject: tuple[int, int, int, int] | None = None,
) -> Sealed:
    """Write down that a pair's files are complete; parts: where they go, where they are now."""
    names = {path.name for path in parts}
    document = {
        "state": "sealed",
        # Copies of the last result are this pair's until it has new ones.
        "copies": sorted(files_of(job.records, job.name) - names),
        "fingerprint": job.fingerprint,
        "outcome": outcome.document(),
        "files": {_named(job, path): now.stat().st_size for path, now in parts.items()},
        "sha256": {_named(job, path): sha256(now) for path, now in parts.items()},
        "subject": subject,
    }
    _write(job, document)
    return Sealed(outcome, tuple(parts), subject)


def remember(
    job: Job, outcome: Outcome, files: Iterable[Path], copies: Iterable[Path] = ()
) -> None:
    """Write down that a pair is done, its files, and the copies that the job asks for."""
    document: dict[str, Any] = {
        "state": "done",
        "fingerprint": job.fingerprint,
        "outcome": outcome.document(),
        "files": _sizes(job, files),
    }
    _write(job, _with_copies(job, document, copies))


def note_copies(job: Job, copies: Iterable[Path]) -> None:
    """Write down the copies of a result that is another than the record's: somebody retouched it.

    Nothing is written where there is no record.
    """
    with suppress(OSError, ValueError, KeyError, TypeError):
        _write(job, _with_copies(job, _read(job.records, job.name), copies))


def _with_copies(job: Job, document: dict[str, Any], copies: Iterable[Path]) -> dict[str, Any]:
    """Return a record with new copies; those it had before stay this pair's.

    Not those called by a number: at another place in the list that is another pair's.
    """
    files = _sizes(job, copies)
    delivered = {
        "wanted": list(job.deliveries),
        "number": _number(job),
        "of": _stamp(job.output),
        "files": files,
    }
    now = {Path(name).name for name in (*document["files"], *files)}
    numbered = delivered["number"] is not None
    earlier = frozenset() if numbered else files_of(job.records, job.name) - now
    return {**document, "delivered": delivered, "copies": sorted(earlier)}


def has_copies(job: Job) -> bool:
    """Return whether the copies that a job asks for were made of its result as it lies there."""
    if not job.deliveries:
        return True
    try:
        known = _read(job.records, job.name)["delivered"]
        return bool(
            known["wanted"] == list(job.deliveries)
            and known["number"] == _number(job)
            and known["of"] == _stamp(job.output)
            and _are_whole(job, known["files"])
        )
    except (OSError, ValueError, KeyError, TypeError, AttributeError):
        return False


def _number(job: Job) -> int | None:
    """Return a pair's number if its copies are called by it: at another place it gets others."""
    numbered = any(names_number(parse_delivery(text).name) for text in job.deliveries)
    return job.number if numbered else None


def _stamp(path: Path) -> list[int]:
    about = path.stat()
    return [about.st_mtime_ns, about.st_size]


def _sizes(job: Job, files: Iterable[Path]) -> dict[str, int]:
    return {_named(job, path): path.stat().st_size for path in files}


def _are_whole(job: Job, sizes: Mapping[str, int]) -> bool:
    return all(_place(job, named).stat().st_size == size for named, size in sizes.items())


def _named(job: Job, path: Path) -> str:
    """Return how a record names a file: from the output folder, however that was spelled."""
    return os.path.relpath(path, job.output.parent).replace(os.sep, "/")


def _place(job: Job, named: str) -> Path:
    """Return where a file of a record lies.

    Records of earlier versions name files as `--out` was typed, perhaps from another working
    folder, or before the output folder was moved.  All files lie in that folder or in its records.
    """
    path, folder = Path(named), job.output.parent
    return folder / RECORDS / path.name if path.parent.name == RECORDS else folder / path.name


def _write(job: Job, document: dict[str, Any]) -> None:
    with atomic(record_path(job.records, job.name)) as temporary:
        temporary.write_text(json.dumps(document, indent=1), encoding="utf-8")


def _read(records: Path, name: str) -> Any:
    return json.loads(record_path(records, name).read_text(encoding="utf-8"))


def last_outcome(records: Path, name: str) -> Outcome | None:
    """Return how a pair ended when it was done last, whatever changed since; None if it never was.

    records : the folder of records.
    """
    try:
        document = _read(records, name)
        return _told(document, records.parent) if document["state"] == "done" else None
    except (OSError, ValueError, KeyError, TypeError, AttributeError):
        return None


def _told(document: dict[str, Any], out: Path) -> Outcome:
    """Return a record's outcome, with the pair's files that are of an earlier result."""
    outcome = outcome_from(document["outcome"])
    left = _left_over(document, out, outcome)
    if not left:
        return outcome
    said = f"of an earlier result, write anew or delete: {', '.join(left)}"
    return replace(outcome, reason=f"{outcome.reason}; {said}" if outcome.reason else said)


def _left_over(document: dict[str, Any], out: Path, outcome: Outcome) -> list[str]:
    """Return the names of layers and copies that are older than the result's report."""
    names = [str(name) for name in document.get("copies", ())]
    if not names or outcome.report is None:
        return []
    made = (out / outcome.report).stat().st_mtime
    there = [name for name in names if (out / name).is_file()]
    return [name for name in there if (out / name).stat().st_mtime < made]


def files_of(records: Path, name: str) -> frozenset[str]:
    """Return the names of the files that a pair's record vouches for, whatever became of them."""
    try:
        document = _read(records, name)
        copies = document.get("delivered", {}).get("files", ())
        paths = (*document["files"], *copies, *document.get("copies", ()))
        return frozenset(Path(path).name for path in paths)
    except (OSError, ValueError, KeyError, TypeError, AttributeError):
        return frozenset()


def owner_of(records: Path, file: str, *, besides: str) -> str | None:
    """Return the name of the pair whose record vouches for a file of a name; None if none does.

    besides: a pair that is not asked about.
    """
    names = sorted(path.name.removesuffix(".json") for path in records.glob("*.json"))
    others = (name for name in names if name != besides)
    return next((name for name in others if file in files_of(records, name)), None)


def recall(job: Job) -> Outcome | None:
    """Return how a pair ended if it is done and its result and copies still hold, else None."""
    document = _whole(job, "done")
    return _told(document, job.output.parent) if document and has_copies(job) else None


def merged(job: Job) -> Sealed | None:
    """Return what is known of a pair whose result still holds, whatever became of its copies."""
    document = _whole(job, "done")
    if document is None:
        return None
    files = tuple(_place(job, named) for named in document["files"])
    return Sealed(outcome_from(document["outcome"]), files, None)


def sealed(job: Job) -> Sealed | None:
    """Return what is known of a pair whose files were all put in place by a run that then died."""
    document = _whole(job, "sealed")
    if document is None:
        return None
    subject = document["subject"]
    return Sealed(
        outcome=outcome_from(document["outcome"]),
        files=tuple(_place(job, named) for named in document["files"]),
        subject=None if subject is None else tuple(subject),
    )


def _whole(job: Job, state: str) -> dict[str, Any] | None:
    """Return a pair's record if it is in a state, of this very job, and its files are there."""
    try:
        document = _read(job.records, job.name)
        if document["state"] != state or document["fingerprint"] != job.fingerprint:
            return None
        same, sums = _are_whole(job, document["files"]), document.get("sha256", {})
        # The files of an older result may lie there yet, and an uncompressed TIFF has one size.
        same = same and all(sha256(_place(job, named)) == sum_ for named, sum_ in sums.items())
        outcome_from(document["outcome"])
    except (OSError, ValueError, KeyError, TypeError, AttributeError):
        return None
    return document if same else None
