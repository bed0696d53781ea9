"""Merges one pair, in whatever process it is called in: read, merge, write, remember."""

import os
import time
from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path
from typing import Any

from blendkit.batch import ledger
from blendkit.batch.after import decided, delivered, judged, sitter_box
from blendkit.batch.fingerprints import files_read
from blendkit.batch.lend import lent_hints
from blendkit.batch.mend import mended, modes_for
from blendkit.batch.records import Job, Outcome, failed, named_inputs
from blendkit.batch.thumbs import write_thumbs
from blendkit.errors import (
    NO_MEMORY,
    AlignmentError,
    BlendkitError,
    InputError,
    lacked_memory,
)
from blendkit.files import prefer_raws
from blendkit.files.capture import read_capture
from blendkit.files.checksums import sha256
from blendkit.files.documents import read_json
from blendkit.files.encode_png_jpeg import check_sides
from blendkit.hints import Hints
from blendkit.masks.strokes import Stroke
from blendkit.merge import merge_pair
from blendkit.report.asked import Asked, asked_from
from blendkit.report.bundle import (
    Written,
    refusal_path,
    target_paths,
    write_refusal,
    write_result,
)
from blendkit.report.edited import KEPT, edited_since
from blendkit.report.handwork import handwork
from blendkit.report.inputs import (
    Given,
    check_painted_at,
    read_pair,
    read_strokes,
    with_strokes,
)
from blendkit.report.inputs import Pair as ReadPair
from blendkit.sidecar import (
    Sidecar,
    differing,
    merge_settings,
    read_sidecar,
    sidecar_path,
    write_sidecar,
)

_APART = ("bridge", "strokes")
_CURE = (
    "tie the same points in both frames on the page of `blendkit review`, or loosen "
    "[pair.settings.alignment] in pairs.toml, and run batch again"
)


def merge_job(job: Job) -> Outcome:
    """Merge a job's pair and write everything that belongs to it; never raises for a bad pair.

    What another process has finished, and then died without telling, is not done again.
    """
    began = time.perf_counter()
    _limit_threads()
    try:
        outcome = ledger.recall(job) or _delivered(job) or _taken_up(job) or _accepted(job)
        outcome = outcome or _edited(job) or _merge(job, began)
    except BlendkitError as error:
        outcome = failed(job, str(error), time_s=time.perf_counter() - began)
    except Exception as error:
        if not lacked_memory(error):
            raise
        outcome = failed(job, NO_MEMORY, time_s=time.perf_counter() - began)
    return outcome


def _limit_threads() -> None:
    import cv2  # noqa: PLC0415 - heavy: only where a pair is merged

    threads = os.environ.get("OMP_NUM_THREADS", "")
    if threads.isdigit():
        cv2.setNumThreads(int(threads))


def _delivered(job: Job) -> Outcome | None:
    """Write the copies that are missing of a result that holds, without a merge."""
    kept, report = ledger.merged(job), target_paths(job.output)["report"]
    if kept is None or edited_since(job.output, report):
        return None
    sidecar = read_sidecar(sidecar_path(job.output))
    return decided(_finished(job, replace(kept, subject=_subject_of(job))), sidecar)


def _taken_up(job: Job) -> Outcome | None:
    """Finish what a process that died had written whole: copies for the lab and the record."""
    kept = ledger.sealed(job)
    return None if kept is None else _finished(job, kept)


def _finished(job: Job, kept: ledger.Sealed) -> Outcome:
    try:
        copies = delivered(job, kept.subject)
    except BlendkitError as error:  # the record stays sealed: the next run delivers
        reason = " ".join(f"is merged, but its copies were not written: {error}".split())
        return replace(kept.outcome, status="needs-a-look", reason=reason)
    ledger.remember(job, kept.outcome, kept.files, copies)
    return ledger.last_outcome(job.records, job.name) or kept.outcome


def _accepted(job: Job) -> Outcome | None:
    """Return the outcome of a result that was accepted on the page and is what a merge would make.

    None if it is not: something else is painted or set now, a frame is another picture, a layer is
    missing.
    """
    sidecar = read_sidecar(sidecar_path(job.output))
    paths = target_paths(job.output, layers=job.layers)
    if sidecar.decision != "accepted" or not all(path.is_file() for path in paths.values()):
        return None
    try:
        document = read_json(paths["report"], what="a report", cure="move it away")
        now = _handwork(job, sidecar, read_capture(job.pair.background)[1])
    except InputError:
        return None
    asked = asked_from(document)
    if (
        _files_of(document) != _files_read(job)
        or _changed_since(job, document, paths["report"])
        or asked.private != job.private
        or asked.handwork != now
    ):
        return None
    outcome = judged(job, document, sidecar, (), (), 0.0)
    outcome = replace(outcome, status="merged", reason="accepted in the review")
    return _finished(job, ledger.Sealed(outcome, tuple(paths.values()), _subject(document)))


def _edited(job: Job) -> Outcome | None:
    """Return the outcome of a result that somebody has worked on since: a merge would undo it."""
    report = target_paths(job.output)["report"]
    if not edited_since(job.output, report):
        return None
    ended = ledger.last_outcome(job.records, job.name) or Outcome(
        job.name,
        "needs-a-look",
        named_inputs(job.pair),
        output=job.output.name,
        report=report.name,
    )
    reason = f"its result {KEPT}"
    if not ledger.has_copies(job):
        try:
            ledger.note_copies(job, delivered(job, _subject_of(job)))
        except BlendkitError as error:
            reason = " ".join(f"{reason}; its copies were not written: {error}".split())
    return replace(ended, status="needs-a-look", reason=reason)


def _files_read(job: Job) -> set[tuple[str, Path]]:
    """Return role and place of what a merge reads; handwork and repairs are compared apart."""
    return {(role, path.resolve()) for role, path in files_read(job.pair) if role not in _APART}


def _files_of(document: dict[str, Any]) -> set[tuple[str, Path]]:
    """Return the same of the files that a report names."""
    inputs = [(item["role"], Path(item["path"]).resolve()) for item in document["inputs"]]
    return {(role, path) for role, path in inputs if role not in _APART}


def _changed_since(job: Job, document: dict[str, Any], report: Path) -> bool:
    """Return whether a file that a merge reads has another content than when the report was made.

    By its checksum, as a picture may be replaced by an older one; by its date where the report does
    not say.  Strokes are compared apart.
    """
    known = {Path(item["path"]).resolve(): item.get("sha256") for item in document["inputs"]}
    made = report.stat().st_mtime
    for role, path in files_read(job.pair):
        digest = known.get(path.resolve())
        changed = sha256(path) != digest if digest else path.stat().st_mtime > made
        if changed and role != "strokes":
            return True
    return False


def _subject(document: dict[str, Any]) -> tuple[int, int, int, int] | None:
    box = (document.get("output") or {}).get("sitter")
    return None if box is None else (box[0], box[1], box[2], box[3])


def _subject_of(job: Job) -> tuple[int, int, int, int] | None:
    """Return the sitter's box as the report has it; None where the result has another size now."""
    try:
        report = target_paths(job.output)["report"]
        document = read_json(report, what="a report", cure="move it away")
        size = document["output"]["width"], document["output"]["height"]
        return _subject(document) if read_capture(job.output)[1] == size else None
    except (InputError, KeyError, TypeError):
        return None


def _handwork(job: Job, sidecar: Sidecar, size: tuple[int, int]) -> str:
    """Return the digest of what is painted, tied and set for a job's pair."""
    settings = merge_settings(sidecar.settings, job.pair.settings)
    strokes = _strokes(job.pair.strokes, sidecar, size)
    return handwork(strokes, sidecar.ties, settings, modes_for(job.pair, sidecar))


def _merge(job: Job, began: float) -> Outcome:
    sidecar = read_sidecar(sidecar_path(job.output))
    settings = merge_settings(sidecar.settings, job.pair.settings)
    pair, notes, lent_by = _read(job, sidecar)
    check_sides(job.output, pair.background.size)
    asked = Asked(
        differing(job.pair.settings),
        private=job.private,
        handwork=_handwork(job, sidecar, pair.background.size),
        repair=job.pair.repair or "",
        lent_by=lent_by,
    )
    time_s = {"read": time.perf_counter() - began}
    report = refusal_path(job.output.with_name(f"{job.output.stem}.report.json"))
    try:
        merged = merge_pair(pair.background, pair.hand_over(), hints=pair.hints, settings=settings)
    except AlignmentError as error:
        advice = _CURE if error.cure else ""
        write_refusal(
            report,
            error.reason,
            advice=advice,
            inputs=pair.inputs,
            settings=settings,
            time_s=time_s,
        )
        outcome = failed(job, error.with_cure(_CURE), time_s=time.perf_counter() - began)
        return replace(outcome, report=report.name)
    done = mended(job.pair, sidecar, merged, pair)
    merged = done.repaired.merged
    thumbs = write_thumbs(job.records, job.name, merged, pair.background)
    _keep_sidecar(job, sidecar)
    kept: list[ledger.Sealed] = []

    def seal(written: Written, places: Mapping[str, Path]) -> None:
        spent = time.perf_counter() - began
        outcome = judged(job, written.document, sidecar, notes, done.troubles, spent)
        parts = {written.paths[what]: place for what, place in places.items()}
        parts |= {path: path for path in thumbs}
        kept.append(ledger.seal(job, outcome, parts, subject=sitter_box(merged.sitter)))

    write_result(
        job.output,
        merged,
        pair.background,
        pair.foreground,
        inputs=(*pair.inputs, *done.bridges),
        layers=job.layers,
        asked=asked,
        repairs=done.repaired.records,
        time_s=time_s,
        sealed=seal,
    )
    _keep_sidecar(job, sidecar)  # once more: the last result may have been accepted meanwhile
    return _finished(job, kept[0])


def _read(job: Job, sidecar: Sidecar) -> tuple[ReadPair, tuple[str, ...], str]:
    """Read the frames and all that is known to help: masks, strokes, ties, what others lend.

    Returns the pair, notes, and the name of the pair that lent something; empty if none did.
    """
    own = job.pair
    (background, foreground), notes = prefer_raws((own.background, own.foreground))
    pair = read_pair(
        Given(
            background=background,
            foreground=foreground,
            foreground_mask=own.foreground_mask,
            background_mask=own.background_mask,
            matte=own.matte,
            strokes=own.strokes if sidecar.size is None else None,
            clear=own.clear,
        )
    )
    size = pair.background.size
    check_painted_at(sidecar.size, pair.background, sidecar_path(job.output).name)
    hints = replace(_stroked(own.strokes, sidecar, pair.hints, size), ties=sidecar.ties)
    if own.strokes is not None and sidecar.size is not None:
        notes = (*notes, f"what the page has painted counts in the place of {own.strokes.name}")
    lent_by = ""
    if job.lender is not None:
        before = hints
        hints, lent = lent_hints(job.lender, job.lender_output, pair, hints)
        notes = (*notes, *lent)
        lent_by = job.lender.name if hints is not before else ""
    return replace(pair, hints=hints), notes, lent_by


def _stroked(path: Path | None, sidecar: Sidecar, hints: Hints, size: tuple[int, int]) -> Hints:
    """Add strokes."""
    return with_strokes(hints, _strokes(path, sidecar, size), size)


def _strokes(path: Path | None, sidecar: Sidecar, size: tuple[int, int]) -> tuple[Stroke, ...]:
    """Return strokes: those of the sidecar win over a file of strokes, erased ones too."""
    if sidecar.size is None and path is not None:
        return read_strokes(path, size)
    return sidecar.strokes


def _keep_sidecar(job: Job, sidecar: Sidecar) -> None:
    """Leave a sidecar beside a new result that names its inputs, which the list may have changed.

    A result that was accepted is another one now, which nobody has seen.
    """
    path, folder = sidecar_path(job.output), job.output.parent
    there = path.exists()
    now = read_sidecar(path) if there else sidecar
    inputs = {
        role: os.path.relpath(file, folder).replace(os.sep, "/")
        for role, file in job.pair.files
        if role != "bridge"
    }
    decision = "open" if now.decision == "accepted" else now.decision
    kept = replace(now, inputs=inputs, decision=decision)
    if kept != now or not there:
        write_sidecar(path, kept)
