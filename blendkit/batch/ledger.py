"""What a batch remembers in its output folder: which pairs are done, and with which files.

A record is written after everything that it vouches for, and each file appears whole or not at
all, so a run that was killed at any moment leaves either a record that holds or none.
"""

import json
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

from filelock import FileLock, Timeout

from blendkit.batch.folder import RECORDS
from blendkit.batch.records import Job, Outcome, outcome_from
from blendkit.errors import OutputError
from blendkit.files.atomic import atomic, explain

_LEFTOVER = ".*.part.*"


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
    """Remove temporary files that a killed run has left."""
    for folder in (out, out / RECORDS):
        for path in folder.glob(_LEFTOVER):
            with suppress(OSError):
                path.unlink()


def record_path(records: Path, name: str) -> Path:
    """Return where a pair's record lies."""
    return records / f"{name}.json"


def remember(job: Job, outcome: Outcome, files: list[Path]) -> None:
    """Write down that a pair is done, and the files that belong to its result."""
    document = {
        "fingerprint": job.fingerprint,
        "outcome": outcome.document(),
        "files": {str(path): path.stat().st_size for path in files},
    }
    with atomic(record_path(job.records, job.name)) as temporary:
        temporary.write_text(json.dumps(document, indent=1), encoding="utf-8")


def recall(job: Job) -> Outcome | None:
    """Return how a pair ended if its result still holds, else None."""
    try:
        document = json.loads(record_path(job.records, job.name).read_text(encoding="utf-8"))
        whole = document["fingerprint"] == job.fingerprint and all(
            Path(path).stat().st_size == size for path, size in document["files"].items()
        )
        return outcome_from(document["outcome"]) if whole else None
    except (OSError, ValueError, KeyError, TypeError, AttributeError):
        return None
