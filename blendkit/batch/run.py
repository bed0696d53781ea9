"""Runs a batch: which pairs are done, which are to do, and what came of each."""

import json
import time
from collections.abc import Callable, Iterator, Sequence
from contextlib import closing
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Protocol

from blendkit.batch import ledger
from blendkit.batch.after import decided
from blendkit.batch.fingerprints import Checksums, fingerprint
from blendkit.batch.pairs_file import Pair
from blendkit.batch.records import STATUSES, Job, Outcome, Work, failed, left_out, outcome_from
from blendkit.batch.strangers import check_strangers
from blendkit.errors import InputError, OutputError
from blendkit.files.atomic import atomic, make_folder
from blendkit.files.capture import read_capture
from blendkit.files.documents import read_json
from blendkit.masks.strokes import leaves_paint, strokes_from
from blendkit.report.bundle import target_paths
from blendkit.sidecar import Sidecar, read_sidecar, sidecar_path

SCHEMA = "blendkit.batch/1"
SUFFIXES = (".tif", ".png", ".jpg")
_SKIPPED = "is marked to be skipped"
_NOT_REACHED = "not reached before the run was ended: run again to go on"


class Runner(Protocol):
    """Runs jobs somewhere and yields an outcome for every one."""

    def run(self, jobs: Sequence[Job]) -> Iterator[Outcome]:
        """Yield outcomes in the order in which they end."""


@dataclass(frozen=True, slots=True)
class Order:
    """What is to be merged, and where to.

    suffix: of the results, one of SUFFIXES.
    private, deliveries: see `Job`.
    only: names of the pairs that are merged now, empty = all; the others keep their numbers and
        lend what was painted for them.
    """

    pairs: tuple[Pair, ...]
    out: Path
    suffix: str = ".tif"
    layers: bool = False
    private: bool = False
    deliveries: tuple[str, ...] = ()
    only: tuple[str, ...] = ()

    @property
    def chosen(self) -> tuple[Pair, ...]:
        """The pairs that are merged now."""
        return tuple(pair for pair in self.pairs if not self.only or pair.name in self.only)

    def output(self, pair: Pair) -> Path:
        """Return where a pair's result goes."""
        return self.out / f"{pair.name}{self.suffix}"


@dataclass(slots=True)
class Report:
    """What came of a batch, in the order of its pairs.

    interrupted: it was ended by Ctrl-C; what was not reached is left out.
    """

    outcomes: dict[str, Outcome] = field(default_factory=dict)
    interrupted: bool = False
    time_s: float = 0.0

    @property
    def counts(self) -> dict[str, int]:
        """How many pairs ended how."""
        ended = [outcome.status for outcome in self.outcomes.values()]
        return {status: ended.count(status) for status in STATUSES}

    def document(self) -> dict[str, object]:
        """Return summary.json."""
        return {
            "schema": SCHEMA,
            "pairs": [outcome.document() for outcome in self.outcomes.values()],
            "counts": self.counts,
            "interrupted": self.interrupted,
            "time_s": round(self.time_s, 1),
        }


class Told(Protocol):
    """Told of every outcome."""

    def __call__(self, outcome: Outcome, *, new: bool) -> None:
        """Take note of it; new is False if it was there before this run."""


def _not_told(outcome: Outcome, *, new: bool) -> None:
    """Ignore it."""


def run_batch(
    order: Order,
    runner: Callable[[Sequence[Job]], Runner],
    *,
    told: Told = _not_told,
) -> Report:
    """Merge what is not done yet, and write summary.json.

    Parameters
    ----------
    order : the pairs and the output folder.
    runner : makes what runs the jobs, once it is known which they are.
    told : called with each outcome.

    Raises
    ------
    InputError, OutputError : the order cannot be begun at all.
    """
    began = time.perf_counter()
    _check(order)
    report = Report()
    with ledger.opened(order.out) as records:
        jobs: list[Job] = []
        try:
            # Checksums of a shoot take a while too, and may be broken off.
            for job in _to_do(order, records, report, told):
                jobs.append(job)  # noqa: PERF402 - what came before a Ctrl-C counts
            if jobs:
                _work_off(runner(jobs), jobs, report, told)
        except KeyboardInterrupt:
            report.interrupted = True
        for job in jobs:
            if job.name not in report.outcomes:
                # A process may have finished a pair without having been able to say so.
                report.outcomes[job.name] = ledger.recall(job) or left_out(job.pair, _NOT_REACHED)
        for pair in order.chosen:
            if pair.name not in report.outcomes:
                report.outcomes[pair.name] = _as_it_was(order, records, pair, _NOT_REACHED)
        report.outcomes = {pair.name: report.outcomes[pair.name] for pair in order.chosen}
        report.time_s = time.perf_counter() - began
        write_summary(order.out, _with_others(order, records, report))
    return report


def _with_others(order: Order, records: Path, report: Report) -> Report:
    """Return a report with the pairs that were not asked for now, as they ended before."""
    others = [pair for pair in order.pairs if pair.name not in report.outcomes]
    reason = "was not among the pairs asked for, and is not done"
    before = {pair.name: _as_it_was(order, records, pair, reason) for pair in others}
    failures = _failed_before(order)
    before |= {
        pair.name: failures[pair.name]
        for pair in others
        if pair.name in failures and before[pair.name].reason != _SKIPPED
    }
    known = before | report.outcomes
    return replace(report, outcomes={pair.name: known[pair.name] for pair in order.pairs})


def _failed_before(order: Order) -> dict[str, Outcome]:
    """Return the failures of the run before, which no record keeps, but those merged since."""
    try:
        made = (order.out / "summary.json").stat().st_mtime
        document = read_json(order.out / "summary.json", what="a summary", cure="run batch again")
        ended = [outcome_from(item) for item in document["pairs"] if item["status"] == "failed"]
    except (OSError, InputError, KeyError, TypeError):  # none, or an earlier version's
        return {}
    reports = {pair.name: target_paths(order.output(pair))["report"] for pair in order.pairs}
    return {
        outcome.name: outcome
        for outcome in ended
        if (report := reports.get(outcome.name)) is not None
        and not (report.exists() and report.stat().st_mtime > made)
    }


def _as_it_was(order: Order, records: Path, pair: Pair, reason: str) -> Outcome:
    """Return how a pair that is not merged now ended before, with what was decided since.

    reason: why it is left out if it never ended.
    """
    try:
        sidecar = read_sidecar(sidecar_path(order.output(pair)))
    except InputError as error:
        return failed(Job(pair, order.output(pair), records, ""), str(error))
    if pair.skip or sidecar.decision == "skipped":
        return left_out(pair, _SKIPPED)
    ended = ledger.last_outcome(records, pair.name)
    if ended is None:
        return left_out(pair, reason)
    return decided(ended, sidecar)


def _check(order: Order) -> None:
    if order.suffix not in SUFFIXES:
        raise InputError(f"--format {order.suffix}: choose one of {', '.join(SUFFIXES)}")
    make_folder(order.out)
    inputs = {path.resolve() for pair in order.pairs for _, path in pair.files}
    for pair in order.pairs:
        if order.output(pair).resolve() in inputs:
            raise OutputError(
                f"{order.output(pair)}: is a frame of the shoot; choose another --out"
            )
    outputs = [(pair.name, order.output(pair)) for pair in order.chosen if not pair.skip]
    check_strangers(order.out, outputs, layers=order.layers)


def _work_off(runner: Runner, jobs: Sequence[Job], report: Report, told: Told) -> None:
    by_name = {job.name: job for job in jobs}
    with closing(runner.run(jobs)) as outcomes:  # type: ignore[type-var]
        for ended in outcomes:
            # A process may have finished a pair and died before it could say so.
            done = ledger.recall(by_name[ended.name]) if ended.status == "failed" else None
            outcome = done or ended
            report.outcomes[outcome.name] = outcome
            told(outcome, new=True)


def _to_do(order: Order, records: Path, report: Report, told: Told) -> Iterator[Job]:
    """Yield the jobs that are to do; note the others in the report."""
    checksums = Checksums()
    lenders = _lenders(order)
    for pair in order.chosen:
        ended = _ended(order, pair, records, checksums, lenders)
        if isinstance(ended, Job):
            yield ended
        else:
            report.outcomes[pair.name] = ended
            told(ended, new=False)


def _ended(
    order: Order,
    pair: Pair,
    records: Path,
    checksums: Checksums,
    lenders: dict[int, tuple[Pair, Sidecar]],
) -> Job | Outcome:
    """Return a pair's job, or how it has ended already."""
    output = order.output(pair)
    lender = lenders.get(pair.setup) if pair.setup is not None else None
    try:
        sidecar = read_sidecar(sidecar_path(output))
        if pair.skip or sidecar.decision == "skipped":
            return left_out(pair, _SKIPPED)
        if lender is not None and (lender[0] is pair or pair.matte or _painted(pair, sidecar)):
            lender = None
        wanted = {"suffix": order.suffix, "layers": order.layers, "private": order.private}
        wanted["deliveries"] = ()  # as in earlier records; copies are no part of a merge
        print_ = fingerprint(pair, sidecar, checksums, lender=lender, wanted=wanted)
    except InputError as error:
        return failed(Job(pair, output, records, ""), str(error))
    job = Job(
        pair=pair,
        output=output,
        records=records,
        fingerprint=print_,
        lender=lender[0] if lender else None,
        lender_output=order.output(lender[0]) if lender else None,
        layers=order.layers,
        private=order.private,
        deliveries=order.deliveries,
        number=order.pairs.index(pair) + 1,
    )
    ended = ledger.recall(job)
    return job if ended is None else decided(ended, sidecar)


def _lenders(order: Order) -> dict[int, tuple[Pair, Sidecar]]:
    """Return, for each set-up, the first pair for which something was painted that can be lent."""
    found: dict[int, tuple[Pair, Sidecar]] = {}
    for pair in order.pairs:
        if pair.setup is None or pair.setup in found:
            continue
        try:
            sidecar = read_sidecar(sidecar_path(order.output(pair)))
        except InputError:
            continue
        if _painted(pair, sidecar):
            found[pair.setup] = pair, sidecar
    return found


def _painted(pair: Pair, sidecar: Sidecar) -> bool:
    """Return whether masks or strokes are painted for a pair; lines that say nearer are no paint.

    What the page erased of a file of strokes is none either.
    """
    if pair.foreground_mask or pair.background_mask:
        return True
    if sidecar.size is not None:
        return leaves_paint(sidecar.strokes, sidecar.size)
    return pair.strokes is not None and _file_paints(pair.strokes)


def _file_paints(path: Path) -> bool:
    try:
        document = read_json(path, what="JSON", cure="save the strokes again")
        width, height = document["size"]
        return leaves_paint(strokes_from(document), (int(width), int(height)))
    except (InputError, KeyError, TypeError, ValueError, OverflowError):
        return True  # what is wrong with it is said where it is merged


def frame_size(pair: Pair) -> tuple[int, int]:
    """Return the size of a pair's background frame, (0, 0) if it cannot be read."""
    try:
        return read_capture(pair.background)[1]
    except InputError:
        return 0, 0


def local_runner(
    work: Work,
    *,
    jobs: int | None = None,
    memory_bytes: int | None = None,
    threads: int | None = None,
) -> Callable[[Sequence[Job]], Runner]:
    """Return a maker of runners that use processes of this machine.

    jobs : processes at most; None takes one a processor.
    memory_bytes : for all processes together; None takes most of what is free.
    threads : of the libraries in each process; None shares the processors out.
    """
    from blendkit.batch.memory import (  # noqa: PLC0415 - only where it runs here
        available_bytes,
        estimated_bytes,
        processes_for,
    )
    from blendkit.batch.pool import Local  # noqa: PLC0415

    def make(waiting: Sequence[Job]) -> Runner:
        needs = {job.name: estimated_bytes(frame_size(job.pair)) for job in waiting}
        limit = memory_bytes or available_bytes()
        count = processes_for(list(needs.values()), limit, asked=jobs)
        return Local(work, count, limit, needs, threads)

    return make


def write_summary(out: Path, report: Report) -> None:
    """Write summary.json and summary.html, each whole or not at all."""
    from blendkit.batch.summary_page import summary_page  # noqa: PLC0415 - not for the workers

    texts = {
        "summary.json": json.dumps(report.document(), indent=1, ensure_ascii=False) + "\n",
        "summary.html": summary_page(report.document(), out),
    }
    for name, text in texts.items():
        with atomic(out / name) as temporary:
            temporary.write_text(text, encoding="utf-8", errors="backslashreplace")
