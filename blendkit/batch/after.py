"""What follows a merge in a batch: how it is judged, and its copies for the lab."""

from collections.abc import Mapping
from dataclasses import replace
from functools import partial
from pathlib import Path
from typing import Any

import numpy as np
from filelock import FileLock

from blendkit.batch import ledger
from blendkit.batch.records import Job, Outcome, named_inputs
from blendkit.errors import InputError
from blendkit.files.capture import read_capture
from blendkit.files.deliver import deliver_copies
from blendkit.files.delivery_spec import parse_delivery
from blendkit.files.earlier_copy import check_replaceable
from blendkit.frame import Float
from blendkit.report.covered import covered_beside
from blendkit.sidecar import Sidecar

Box = tuple[int, int, int, int]


def judged(
    job: Job,
    document: dict[str, Any],
    sidecar: Sidecar,
    notes: tuple[str, ...],
    troubles: tuple[str, ...],
    time_s: float,
) -> Outcome:
    """Return the outcome of a result: what a person should know comes first.

    document: its report; notes: said of a pair with which all is well; troubles: want a look.
    """
    flags = {"note": 0, "warn": 0, "fail": 0}
    for flag in document["flags"]:
        flags[flag["severity"]] += 1
    reasons = [
        f"{flag['message']}: {flag['advice']}"
        for loudness in ("fail", "warn")
        for flag in document["flags"]
        if flag["severity"] == loudness
    ]
    reasons = [*troubles, *reasons]
    if sidecar.decision == "sent-back":
        reasons.insert(0, "was sent back in the review")
    look = bool(reasons)
    more = f" (and {len(reasons) - 1} more)" if len(reasons) > 1 else ""
    return Outcome(
        name=job.name,
        status="needs-a-look" if look else "merged",
        inputs=named_inputs(job.pair),
        output=job.output.name,
        report=f"{job.output.stem}.report.json",
        reason=f"{reasons[0]}{more}" if look else "; ".join(notes),
        flags=flags,
        time_s=round(time_s, 3),
    )


def decided(ended: Outcome, sidecar: Sidecar) -> Outcome:
    """Return how a pair ended, with what was decided about it since."""
    if sidecar.decision == "accepted":
        return replace(ended, status="merged", reason="accepted in the review")
    if sidecar.decision == "sent-back":
        return replace(ended, status="needs-a-look", reason="was sent back in the review")
    return ended


def sitter_box(sitter: Float) -> Box | None:
    """Return the box (x, y, width, height) px of a sitter, float32 (height, width).

    Examples
    --------
    >>> sitter_box(np.eye(4, dtype=np.float32)), sitter_box(np.zeros((2, 2), np.float32))
    ((0, 0, 4, 4), None)
    """
    rows, columns = np.nonzero(sitter > 0.5)
    if not rows.size:
        return None
    x, y = int(columns.min()), int(rows.min())
    return x, y, int(columns.max()) + 1 - x, int(rows.max()) + 1 - y


def delivered(job: Job, subject: Box | None) -> list[Path]:
    """Write the copies that are wanted of a job's result, and return where they are.

    subject: the sitter, kept in the middle of a crop.

    Raises
    ------
    InputError : a copy would replace what is none of this pair.
    """
    if not job.deliveries:
        return []
    mask = None
    if subject is not None:
        x, y, width, height = subject
        columns, rows = read_capture(job.output)[1]
        mask = np.zeros((rows, columns), np.float32)
        mask[y : y + height, x : x + width] = 1
    # One list of checksums is shared by all processes.
    with FileLock(job.records / "deliveries.lock"):
        wanted = [parse_delivery(text) for text in job.deliveries]
        trimmed = any(settings.trim for settings in wanted)
        copies = deliver_copies(
            job.output,
            wanted,
            subject=mask,
            covered=covered_beside(job.output) if trimmed else None,
            inputs=[path for _, path in job.pair.files],
            number=job.number,
            allowed=partial(_check_free, job),
        )
    return [copy.path for copy in copies]


def _check_free(job: Job, copy: Path, note: Mapping[str, str]) -> None:
    """Raise InputError if a file lies where a copy goes that is no earlier copy of the pair's own.

    Numbers change when the list does, and a number is all that some copies are called by.
    """
    if not copy.exists():
        return
    cure = "move it away, or put {stem} into the copies' names, and run batch again"
    owner = ledger.owner_of(job.records, copy.name, besides=job.name)
    if owner is not None:
        raise InputError(f"{copy}: is a file of the pair {owner} and stays; {cure}")
    # The list may give the pair other frames; what its record owns is its own still.
    own = copy.name in ledger.files_of(job.records, job.name)
    check_replaceable(copy, None if own else note)
