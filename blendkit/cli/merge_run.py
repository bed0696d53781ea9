"""Runs one merge for the command line: read, merge, write, tell."""

import os
import time
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

import click

from blendkit.alignment.warp import covered_box
from blendkit.cli.merge_small import PREVIEW_SOFTWARE, preview_path, reduced_pair
from blendkit.cli.progress import shown_progress
from blendkit.cli.repair_run import tell_attempts
from blendkit.errors import AlignmentError, InputError
from blendkit.files import depth_of, write_picture
from blendkit.files.deliver import deliver_copies
from blendkit.files.delivery_plan import check_copies
from blendkit.files.earlier_copy import check_replaceable
from blendkit.files.encode_png_jpeg import check_sides
from blendkit.files.write import without_room
from blendkit.files.xmp import COPY_OF, exposure_note
from blendkit.merge import Merged, merge_pair
from blendkit.repair import MODES, Repaired
from blendkit.report.asked import Asked
from blendkit.report.bundle import (
    as_json,
    check_targets,
    refusal_path,
    target_paths,
    write_refusal,
    write_result,
)
from blendkit.report.document import Input, Output, report_document
from blendkit.report.handwork import Work, handwork
from blendkit.report.html import write_html
from blendkit.report.inputs import (
    Given,
    Pair,
    check_painted_at,
    read_pair,
    read_strokes,
    with_strokes,
)
from blendkit.report.mending import check_bridges, modes_of, read_bridges, repaired_by
from blendkit.report.plain import Document
from blendkit.report.reduced import settings_at
from blendkit.report.screen import SCREEN_PX
from blendkit.settings import DeliverySettings, MergeSettings
from blendkit.sidecar import (
    Sidecar,
    Tie,
    merge_settings,
    read_sidecar,
    sidecar_path,
    write_sidecar,
)


@dataclass(frozen=True, slots=True)
class Job:
    """One merge as it was asked for.

    overrides: settings given, {stage: {field: value}}; ties: (x, y) in both frames.
    bits: of the result; None = the file type's usual depth.
    repair: mode of repair, None = none; bridges: frames for it.
    page: write the report as a page too.
    zones: where the numbered zones go, None = nowhere.
    deliveries: copies for the lab, written beside the result.
    """

    given: Given
    output: Path
    overrides: Mapping[str, Mapping[str, Any]] = field(default_factory=dict)
    ties: tuple[Tie, ...] = ()
    bits: int | None = None
    layers: bool = False
    pages: bool = False
    private: bool = False
    deliveries: tuple[DeliverySettings, ...] = ()
    repair: str | None = None
    bridges: tuple[Path, ...] = ()
    report: Path | None = None
    zones: Path | None = None
    as_json: bool = False
    page: bool = False

    @property
    def inputs(self) -> list[Path]:
        """All files that are read, none of which may be overwritten."""
        return [*self.given.paths, *self.bridges]

    @property
    def asked(self) -> Asked:
        """What the report keeps of it besides its files."""
        given = self.given
        return Asked(
            self.overrides,
            given.aligned,
            given.raw_colours,
            self.private,
            repair=self.repair or "",
        )


@dataclass(frozen=True, eq=False, slots=True)
class _Known:
    """What is there to merge: the pair as read, and what was painted, tied and set for it."""

    pair: Pair
    settings: MergeSettings
    sidecar: Sidecar
    work: Work
    time_s: dict[str, float]


def run_merge(job: Job) -> Merged:
    """Merge at full size and write the whole set; AlignmentError leaves the report only."""
    paths = target_paths(
        job.output, layers=job.layers, pages=job.pages, report=job.report, zones=job.zones
    )
    page = paths["report"].with_suffix(".html")
    wanted = paths | {"page": page} if job.page else paths
    check_targets(wanted, job.inputs, bits=job.bits)
    known = _read(job)
    pair = known.pair
    taken = {path.resolve(): f"the {what}" for what, path in wanted.items()}
    size = pair.background.size
    check_sides(job.output, size)
    noted = exposure_note(pair.background, pair.foreground) | {COPY_OF: job.output.name}
    for copy in check_copies(job.output, job.deliveries, size, taken, inputs=job.inputs):
        check_replaceable(copy, noted)
    modes = _modes(job, known.sidecar)
    if modes:
        check_bridges(job.bridges, pair)
    try:
        merged = _merged(pair, known.settings, job)
    except AlignmentError as error:
        place = refusal_path(paths["report"])
        refused = write_refusal(
            place,
            error.reason,
            advice=error.cure,
            inputs=pair.inputs,
            settings=known.settings,
            time_s=known.time_s,
        )
        _print_json(refused, job)
        if place != paths["report"]:
            click.echo(f"{job.output} stays as it was; the reason is in {place}", err=True)
        raise
    repaired, bridges = Repaired(merged, ()), tuple[Input, ...]()
    if modes:
        bridges = read_bridges(job.bridges, pair)
        repaired = repaired_by(merged, pair, modes, bridges)
        tell_attempts(repaired)
    written = write_result(
        job.output,
        repaired.merged,
        pair.background,
        pair.foreground,
        inputs=(*pair.inputs, *bridges),
        repairs=repaired.records,
        bits=job.bits,
        layers=job.layers,
        pages=job.pages,
        asked=replace(job.asked, handwork=handwork(*known.work, modes)),
        report=job.report,
        zones=job.zones,
        time_s=known.time_s,
    )
    if job.page:
        write_html(
            page,
            repaired.merged,
            pair.background,
            pair.foreground,
            document=written.document,
            inputs=job.inputs,
        )
        click.echo(f"wrote {page}", err=True)
    _keep_sidecar(job, known)
    copies = deliver_copies(
        job.output,
        job.deliveries,
        subject=merged.sitter,
        covered=covered_box(merged.alignment.matrix, pair.background.size),
        inputs=job.inputs,
    )
    for done in copies:
        click.echo(f"delivered {done.path}", err=True)
        for note in done.notes:
            click.echo(f"  {note}", err=True)
    _tell(written.document, job, job.output)
    return repaired.merged


def run_preview(job: Job) -> None:
    """Merge reduced frames and write that picture alone, never in the place of a result in full."""
    target = preview_path(job.output)
    check_targets({"result": target}, job.given.paths, bits=job.bits)
    known = _read(job)
    factor = -(-max(known.pair.background.size) // SCREEN_PX)
    pair = reduced_pair(known.pair, factor)
    merged = _merged(pair, settings_at(1 / factor, known.settings), job)
    write_picture(
        target,
        merged.pixels,
        like=pair.background,
        second=pair.foreground,
        bits=job.bits,
        software=PREVIEW_SOFTWARE,
        inputs=job.given.paths,
        private=job.private,
    )
    height, width = merged.pixels.shape[:2]
    output = Output(target, width, height, depth_of(target, job.bits), job.asked)
    _tell(report_document(merged, inputs=pair.inputs, output=output), job, target)


def _read(job: Job) -> _Known:
    """Read what is given and what the sidecar knows; what is given wins."""
    began = time.perf_counter()
    sidecar = read_sidecar(sidecar_path(job.output))
    settings = merge_settings(job.overrides, merge_settings(sidecar.settings))
    pair = read_pair(job.given)
    hints = replace(pair.hints, ties=job.ties or sidecar.ties)
    if job.ties:
        sidecar = replace(sidecar, ties=())  # those of the command line take their place
    strokes = sidecar.strokes
    if job.given.strokes is not None:
        strokes = read_strokes(job.given.strokes, pair.background.size)
        sidecar = replace(sidecar, strokes=())
    else:
        check_painted_at(sidecar.size, pair.background, sidecar_path(job.output).name)
        hints = with_strokes(hints, sidecar.strokes, pair.background.size)
    notes = (*pair.background.notes, *pair.foreground.notes)
    lost = without_room(job.output, pair.background, second=pair.foreground, private=job.private)
    for sentence in (pair.why, *notes, *lost):
        click.echo(sentence, err=True)
    if held := _held(sidecar):
        click.echo(f"taken up from {sidecar_path(job.output).name}: {held}", err=True)
    time_s = {"read": time.perf_counter() - began}
    work = strokes, hints.ties, settings
    return _Known(replace(pair, hints=hints), settings, sidecar, work, time_s)


def _modes(job: Job, sidecar: Sidecar) -> tuple[str, ...]:
    """Return the repairs to carry out: the one asked for, else those kept on the page."""
    if job.repair is not None:
        return (job.repair,)
    modes = modes_of(sidecar.repairs, ())
    for mode in modes:
        if mode not in MODES:
            raise InputError(
                f"{sidecar_path(job.output)}: repair mode {mode!r} is none of {', '.join(MODES)}; "
                "correct it or move it away"
            )
    if "bridge" in modes and not job.bridges:
        click.echo("  bridge: left out, name its frames with --bridge", err=True)
        modes = tuple(mode for mode in modes if mode != "bridge")
    return modes


def _held(sidecar: Sidecar) -> str:
    held = {
        "strokes": len(sidecar.strokes),
        "tie points": len(sidecar.ties),
        "settings": sum(len(values) for values in sidecar.settings.values()),
        "repairs": len(modes_of(sidecar.repairs, ())),
    }
    return ", ".join(f"{count} {what}" for what, count in held.items() if count)


def _keep_sidecar(job: Job, known: _Known) -> None:
    """Leave a sidecar beside the result: its inputs, and what was done by hand.

    It is read anew: on the page somebody may have painted and decided while the merge ran.
    """
    pair, folder = known.pair, job.output.parent
    sidecar = read_sidecar(sidecar_path(job.output))
    inputs = {
        item.role: os.path.relpath(item.path, folder).replace(os.sep, "/")
        for item in pair.inputs
        if item.role != "strokes"
    }
    # A result that was accepted is another one now, which nobody has seen.
    decision = "open" if sidecar.decision == "accepted" else sidecar.decision
    ties = job.ties or sidecar.ties
    # What the command line said wins: were it left here, the page would set it back.
    settings = {
        stage: {k: v for k, v in own.items() if k not in job.overrides.get(stage, {})}
        for stage, own in sidecar.settings.items()
    }
    kept = replace(
        sidecar,
        inputs=inputs,
        ties=ties,
        decision=decision,
        settings={stage: own for stage, own in settings.items() if own},
    )
    if job.given.strokes is not None:
        size = pair.background.size
        kept = replace(kept, size=size, strokes=read_strokes(job.given.strokes, size))
    write_sidecar(sidecar_path(job.output), kept)


def _merged(pair: Pair, settings: MergeSettings, job: Job) -> Merged:
    with shown_progress(f"merging into {job.output.name}") as progress:
        return merge_pair(
            pair.background,
            pair.hand_over(),
            hints=pair.hints,
            settings=settings,
            progress=progress,
        )


def _tell(document: Document, job: Job, written: Path) -> None:
    for line in _summary(document, written):
        click.echo(line, err=True)
    _print_json(document, job)


def _print_json(document: Document, job: Job) -> None:
    if job.as_json:
        click.echo(as_json(document))


def _summary(document: Document, written: Path) -> Iterator[str]:
    """Give the lines that say what was written and what to look at."""
    output, foreground = document["output"], document["foreground"]
    discs = foreground["blur_disc_px"]
    yield f"wrote {written} ({output['width']} x {output['height']} px)"
    blur = f", blur disc {discs[1]:.0f} px in the background frame" if discs else ""
    yield f"foreground on {foreground['coverage']:.1%} of the picture{blur}"
    for flag in document["flags"]:
        yield f"  {flag['severity']}: {flag['kind']}: {flag['message']}; {flag['advice']}"
