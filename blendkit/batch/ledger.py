"""What a batch remembers in its output folder: which pairs are done, and with which files.

A pair's record is written twice.  *Sealed*: its files are complete, but still under temporary
names; the record holds the checksums that they will have.  *Done*: all of them are in their places,
and so are the copies for the lab.  Each file appears whole or not at all.  So a run that was killed
at any moment leaves a record that holds, one whose files are not all there yet, or none; and a
result that is there is never made a second time.
"""

import json
import os
import re
from collections.abc import Iterable, Iterator, Mapping
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import psutil
from filelock import FileLock, Timeout

from blendkit.batch.folder import RECORDS
from blendkit.batch.records import Job, Outcome, outcome_from
from blendkit.errors import OutputError
from blendkit.files.atomic import atomic, explain
from blendkit.files.checksums import sha256

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


def remember(job: Job, outcome: Outcome, files: Iterable[Path]) -> None:
    """Write down that a pair is done, and the files that belong to its result."""
    document = {
        "state": "done",
        "fingerprint": job.fingerprint,
        "outcome": outcome.document(),
        "files": {_named(job, path): path.stat().st_size for path in files},
    }
    _write(job, document)


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


def last_outcome(records: Path, name: str) -> Outcome | None:
    """Return how a pair ended when it was done last, whatever changed since; None if it never was.

    records : the folder of records.
    """
    try:
        document = json.loads(record_path(records, name).read_text(encoding="utf-8"))
        return outcome_from(document["outcome"]) if document["state"] == "done" else None
    except (OSError, ValueError, KeyError, TypeError, AttributeError):
        return None


def files_of(records: Path, name: str) -> frozenset[str]:
    """Return the names of the files that a pair's record vouches for, whatever became of them."""
    try:
        document = json.loads(record_path(records, name).read_text(encoding="utf-8"))
        paths = (*document["files"], *document.get("copies", ()))
        return frozenset(Path(path).name for path in paths)
    except (OSError, ValueError, KeyError, TypeError):
        return frozenset()


def owner_of(records: Path, file: str, *, besides: str) -> str | None:
    """Return the name of the pair whose record vouches for a file of a name; None if none does.

    besides: a pair that is not asked about.
    """
    names = sorted(path.name.removesuffix(".json") for path in records.glob("*.json"))
    others = (name for name in names if name != besides)
    return next((name for name in others if file in files_of(records, name)), None)


def recall(job: Job) -> Outcome | None:
    """Return how a pair ended if it is done and its result still holds, else None."""
    document = _whole(job, "done")
    return None if document is None else outcome_from(document["outcome"])


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
        document = json.loads(record_path(job.records, job.name).read_text(encoding="utf-8"))
        if document["state"] != state or document["fingerprint"] != job.fingerprint:
            return None
        sizes, sums = document["files"], document.get("sha256", {})
        same = all(_place(job, named).stat().st_size == size for named, size in sizes.items())
        # The files of an older result may lie there yet, and an uncompressed TIFF has one size.
        same = same and all(sha256(_place(job, named)) == sum_ for named, sum_ in sums.items())
        outcome_from(document["outcome"])
    except (OSError, ValueError, KeyError, TypeError, AttributeError):
        return None
    return document if same else None
