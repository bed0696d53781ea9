"""`blendkit batch`: merge a whole shoot."""

import json
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path
from typing import Any

import click

from blendkit.errors import EXIT_INTERRUPTED, EXIT_OK, EXIT_SOME_PAIRS_FAILED, InputError

_FILE = click.Path(path_type=Path)


@click.command("batch")
@click.argument("source", metavar="DIR_OR_PAIRS", type=_FILE)
@click.option("--out", type=_FILE, required=True, help="folder for the results")
@click.option("--settings", "settings_file", type=_FILE, help="TOML file of settings for all pairs")
@click.option("--only", multiple=True, metavar="NAME", help="merge this pair only; may be repeated")
@click.option(
    "--format",
    "suffix",
    type=click.Choice(["tif", "png", "jpg"]),
    default="tif",
    show_default=True,
    help="of the results",
)
@click.option("--layers", is_flag=True, help="also write matte, plate and foreground")
@click.option("--private", is_flag=True, help="leave place and serial numbers out of the results")
@click.option(
    "--deliver", "deliveries", multiple=True, metavar="WxH[,NAME=VALUE...]",
    help="copies for the lab beside the results, as in 30x20,profile=srgb; repeat it",
)  # fmt: skip
@click.option("--jobs", type=click.IntRange(1, 512), help="processes [default: one a processor]")
@click.option("--memory", metavar="SIZE", help="for all processes, as in 12GB [default: most]")
@click.option("--cluster", metavar="ADDRESS", help="merge on the workers of a Dask scheduler")
@click.option("--json", "as_json", is_flag=True, help="print each pair's end as a line of JSON")
@click.pass_context
def command(
    ctx: click.Context,
    *,
    source: Path,
    out: Path,
    settings_file: Path | None,
    only: tuple[str, ...],
    suffix: str,
    layers: bool,
    private: bool,
    deliveries: tuple[str, ...],
    jobs: int | None,
    memory: str | None,
    cluster: str | None,
    as_json: bool,
) -> None:
    """Merge the pairs that a pairs.toml lists, or those found in a folder.

    Run it again to go on after an interruption: what is done and unchanged is not done again.
    OUT/summary.html shows what came of it, what needs a hand first.

    Exit codes: 0 all merged (look at the flags), 4 some failed, 2 wrong use, 130 ended by Ctrl-C.
    """
    from blendkit.batch.job import merge_job  # noqa: PLC0415 - keeps help quick
    from blendkit.batch.memory import parse_bytes  # noqa: PLC0415
    from blendkit.batch.run import Order, Report, local_runner, run_batch  # noqa: PLC0415
    from blendkit.files.delivery_plan import check_settings  # noqa: PLC0415
    from blendkit.files.delivery_spec import parse_delivery  # noqa: PLC0415

    limit = parse_bytes(memory) if memory else None
    wanted = [parse_delivery(text) for text in deliveries]
    check_settings(wanted)  # before a list of pairs is written
    try:
        pairs = _pairs(source, out, settings_file)
        _check_names(only, pairs)
        check_settings(wanted, several=len(pairs) > 1)
        order = Order(
            pairs,
            out,
            suffix=f".{suffix}",
            layers=layers,
            private=private,
            deliveries=deliveries,
            only=only,
        )
        _check_copies(order, wanted)
        runner: Any = local_runner(merge_job, jobs=jobs, memory_bytes=limit)
        if cluster:
            from blendkit.batch.cluster import Cluster  # noqa: PLC0415

            order = replace(order, out=out.resolve())
            runner = lambda _: Cluster(merge_job, cluster)  # noqa: E731
        with _shown(len(order.chosen), as_json=as_json) as told:
            report = run_batch(order, runner, told=told)
    except KeyboardInterrupt:  # before there was anything to sum up, or once more while summing up
        _tell_counts(Report(interrupted=True), as_json=as_json)
        click.echo("ended by Ctrl-C, without a summary; run again to go on", err=True)
        ctx.exit(EXIT_INTERRUPTED)
    _tell_end(report, out, as_json=as_json)
    ctx.exit(_exit_code(report))


def _pairs(source: Path, out: Path, settings_file: Path | None) -> tuple[Any, ...]:
    """Return the pairs of a list, or of a folder's list, or those found in a folder."""
    from blendkit.batch.pairs_file import (  # noqa: PLC0415
        NAME,
        from_found,
        read_pairs,
        read_settings,
        write_pairs,
    )
    from blendkit.files.atomic import make_folder  # noqa: PLC0415

    settings = read_settings(settings_file) if settings_file else None
    if source.is_file():
        return tuple(read_pairs(source, settings))
    listed = source / NAME
    if listed.is_file():
        click.echo(f"merging the pairs of {listed}", err=True)
        return tuple(read_pairs(listed, settings))
    found = _found(source)
    if (out / NAME).is_file():  # written by an earlier run, and perhaps edited since
        click.echo(f"merging the pairs of {out / NAME}; move it away to pair anew", err=True)
        pairs = tuple(read_pairs(out / NAME, settings))
        known = {pair.background for pair in pairs}
        if new := [pair.name for pair in found.pairs if pair.background.resolve() not in known]:
            click.echo(f"left out, because it does not list them: {', '.join(new)}", err=True)
        return pairs
    make_folder(out)
    write_pairs(out / NAME, found)
    click.echo(f"wrote {out / NAME}: {len(found.pairs)} pairs", err=True)
    return tuple(from_found(found, settings))


def _found(source: Path) -> Any:
    from blendkit.batch.pairing import find_pairs  # noqa: PLC0415
    from blendkit.batch.pairs_file import NAME  # noqa: PLC0415
    from blendkit.cli.progress import shown_progress  # noqa: PLC0415

    with shown_progress(f"looking for pairs in {source}") as progress:
        found = find_pairs(source, told=progress)
    if not found.pairs:
        raise InputError(f"{source}: no pairs were found; name them in a {NAME}")
    return found


def _check_names(only: tuple[str, ...], pairs: tuple[Any, ...]) -> None:
    names = [pair.name for pair in pairs]
    for name in only:
        if name not in names:
            raise InputError(f"--only {name}: there is no such pair; there are {', '.join(names)}")


def _check_copies(order: Any, wanted: list[Any]) -> None:
    """Raise InputError, before any merge, if a copy would have the name of another file."""
    from blendkit.files.capture import read_capture  # noqa: PLC0415 - keeps help quick
    from blendkit.files.delivery_plan import check_copies  # noqa: PLC0415
    from blendkit.report.bundle import target_paths  # noqa: PLC0415

    if not wanted:
        return
    taken = {
        path.resolve(): f"the {what} of {pair.name}"
        for pair in order.pairs
        for what, path in target_paths(order.output(pair), layers=order.layers).items()
    }
    for number, pair in enumerate(order.pairs, start=1):
        if pair.skip or pair not in order.chosen:
            continue
        try:
            _, size = read_capture(pair.background)
        except InputError:  # this pair will fail, and no other one with it
            continue
        inputs = [path for _, path in pair.files]
        result = order.output(pair)
        found = check_copies(result, wanted, size, taken, inputs=inputs, number=number)
        taken |= {path: f"{what} of {pair.name}" for path, what in found.items()}


@contextmanager
def _shown(count: int, *, as_json: bool) -> Iterator[Any]:
    """Give what shows outcomes: lines of JSON, and a bar or plain lines on standard error."""
    tally = {"merged": 0, "needs-a-look": 0, "failed": 0, "left-out": 0}

    def line(outcome: Any, *, new: bool) -> None:
        tally[outcome.status] += 1
        if as_json:
            click.echo(json.dumps({"event": "pair", "new": new, **outcome.document()}))
        if not sys.stderr.isatty() and not as_json:
            why = f": {outcome.reason}" if outcome.reason else ""
            before = " (done before)" if outcome.output and not new else ""
            click.echo(f"{outcome.name}: {outcome.status}{before}{why}", err=True)

    if not sys.stderr.isatty():
        yield line
        return
    bar: Any
    with click.progressbar(
        length=count,
        label="pairs",
        file=sys.stderr,
        show_pos=True,
        item_show_func=lambda _: f"{tally['failed']} failed, {tally['needs-a-look']} to look at",
    ) as bar:

        def step(outcome: Any, *, new: bool) -> None:
            line(outcome, new=new)
            bar.update(1, outcome)

        yield step


def _tell_counts(report: Any, *, as_json: bool) -> None:
    if as_json:
        end = {"event": "end", "counts": report.counts, "interrupted": report.interrupted}
        click.echo(json.dumps(end))


def _tell_end(report: Any, out: Path, *, as_json: bool) -> None:
    _tell_counts(report, as_json=as_json)
    told = ", ".join(f"{count} {status}" for status, count in report.counts.items() if count)
    click.echo(f"{told or 'no pairs'}; see {out / 'summary.html'}", err=True)


def _exit_code(report: Any) -> int:
    if report.interrupted:
        return EXIT_INTERRUPTED
    return EXIT_SOME_PAIRS_FAILED if report.counts["failed"] else EXIT_OK
