"""Runs one merge for the command line: read, merge, write, tell."""

import time
from collections.abc import Iterator
from dataclasses import dataclass, replace
from pathlib import Path

import click

from blendkit.cli.progress import shown_progress
from blendkit.errors import AlignmentError
from blendkit.files import write_picture
from blendkit.filters.resample import reduce_by
from blendkit.frame import Float, Frame
from blendkit.hints import Hints
from blendkit.merge import Merged, merge_pair
from blendkit.report.bundle import (
    as_json,
    check_targets,
    target_paths,
    write_refusal,
    write_result,
)
from blendkit.report.document import Output, report_document
from blendkit.report.inputs import Given, Pair, read_pair
from blendkit.report.plain import Document
from blendkit.report.screen import SCREEN_PX
from blendkit.settings import MergeSettings


@dataclass(frozen=True, slots=True)
class Job:
    """One merge as it was asked for; bits None = the file type's usual depth."""

    given: Given
    output: Path
    settings: MergeSettings
    bits: int | None = None
    layers: bool = False
    report: Path | None = None
    as_json: bool = False


def run_merge(job: Job) -> Merged:
    """Merge at full size and write the whole set; AlignmentError leaves the report only."""
    paths = target_paths(job.output, layers=job.layers, report=job.report)
    check_targets(paths, job.given.paths)
    began = time.perf_counter()
    pair = _read(job.given)
    time_s = {"read": time.perf_counter() - began}
    try:
        merged = _merged(pair, job)
    except AlignmentError as error:
        refused = write_refusal(
            paths["report"], str(error), inputs=pair.inputs, settings=job.settings, time_s=time_s
        )
        _print_json(refused, job)
        raise
    written = write_result(
        job.output,
        merged,
        pair.background,
        pair.foreground,
        inputs=pair.inputs,
        bits=job.bits,
        layers=job.layers,
        report=job.report,
        time_s=time_s,
    )
    _tell(written.document, job)
    return merged


def run_preview(job: Job) -> None:
    """Merge reduced frames and write that picture alone."""
    check_targets({"result": job.output}, job.given.paths)
    full = _read(job.given)
    factor = -(-max(full.background.size) // SCREEN_PX)
    pair = _reduced(full, factor)
    disc_px = job.settings.discs.disc_px
    if disc_px is not None:
        discs = replace(job.settings.discs, disc_px=disc_px / factor)
        job = replace(job, settings=replace(job.settings, discs=discs))
    merged = _merged(pair, job)
    write_picture(
        job.output, merged.pixels, like=pair.background, bits=job.bits, inputs=job.given.paths
    )
    height, width = merged.pixels.shape[:2]
    output = Output(job.output, width, height, job.bits or 8)
    _tell(report_document(merged, inputs=pair.inputs, output=output), job)


def _read(given: Given) -> Pair:
    pair = read_pair(given)
    for sentence in (pair.why, *pair.background.notes, *pair.foreground.notes):
        click.echo(sentence, err=True)
    return pair


def _merged(pair: Pair, job: Job) -> Merged:
    with shown_progress(f"merging into {job.output.name}") as progress:
        return merge_pair(
            pair.background,
            pair.foreground,
            hints=pair.hints,
            settings=job.settings,
            progress=progress,
        )


def _reduced(pair: Pair, factor: int) -> Pair:
    hints = pair.hints
    return replace(
        pair,
        background=_small(pair.background, factor),
        foreground=_small(pair.foreground, factor),
        hints=Hints(
            foreground_mask=_small_mask(hints.foreground_mask, factor),
            background_mask=_small_mask(hints.background_mask, factor),
            matte=_small_mask(hints.matte, factor),
            aligned=hints.aligned,
        ),
    )


def _small(frame: Frame, factor: int) -> Frame:
    return replace(frame, pixels=reduce_by(frame.pixels, factor), clipped=None)


def _small_mask(mask: Float | None, factor: int) -> Float | None:
    return None if mask is None else reduce_by(mask, factor)


def _tell(document: Document, job: Job) -> None:
    for line in _summary(document):
        click.echo(line, err=True)
    _print_json(document, job)


def _print_json(document: Document, job: Job) -> None:
    if job.as_json:
        click.echo(as_json(document))


def _summary(document: Document) -> Iterator[str]:
    """Give the lines that say what was written and what to look at."""
    output, foreground = document["output"], document["foreground"]
    discs = foreground["blur_disc_px"]
    yield f"wrote {output['path']} ({output['width']} x {output['height']} px)"
    blur = f", blur disc {discs[1]:.0f} px in the background frame" if discs else ""
    yield f"foreground on {foreground['coverage']:.1%} of the picture{blur}"
    for flag in document["flags"]:
        yield f"  {flag['severity']}: {flag['kind']}: {flag['message']}; {flag['advice']}"
