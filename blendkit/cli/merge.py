"""`blendkit merge`: one pair into one picture."""

from dataclasses import replace
from pathlib import Path
from typing import Any

import click

from blendkit.cli.setting_options import setting_options, with_given
from blendkit.plan.units import parse_size
from blendkit.settings import (
    AlignmentSettings,
    DiscSettings,
    GrainSettings,
    MergeSettings,
    ViewingSettings,
)

DISCS = {"disc_px": "--disc-px"}
GRAIN = {"match": "--match-grain/--keep-grain", "seed": "--seed"}
ALIGNMENT = {"least_confidence": "--least-confidence"}
VIEWING = {"viewing_cm": "--viewing"}

_FILE = click.Path(path_type=Path)


@click.command("merge")
@click.argument("frames", nargs=-1, type=_FILE)
@click.option("-o", "--output", type=_FILE, required=True, help="result: .tif, .png or .jpg")
@click.option("--background", type=_FILE, help="background frame, instead of A and B")
@click.option("--foreground", type=_FILE, help="foreground frame, instead of A and B")
@click.option(
    "--foreground-mask", type=_FILE, help="rough painting, white = search the foreground here"
)
@click.option("--background-mask", type=_FILE, help="white = keep the background frame here")
@click.option("--matte", type=_FILE, help="exact coverage of the foreground, used as it is")
@click.option("--aligned", is_flag=True, help="the frames lie on each other already")
@setting_options(AlignmentSettings, ALIGNMENT)
@setting_options(DiscSettings, DISCS)
@setting_options(GrainSettings, GRAIN)
@click.option("--print", "print_cm", metavar="WxH", help="print that flags are judged on, cm")
@setting_options(ViewingSettings, VIEWING)
@click.option("--bits", type=click.Choice(["8", "16", "32"]), help="of the result [default: 16]")
@click.option("--layers", is_flag=True, help="also write matte, plate and foreground")
@click.option("--report", type=_FILE, help="where to write the report [default: OUT.report.json]")
@click.option("--json", "as_json", is_flag=True, help="print the report on standard output")
@click.option("--preview", is_flag=True, help="only a small result, quickly, to judge the masks")
def command(
    *,
    frames: tuple[Path, ...],
    output: Path,
    bits: str | None,
    layers: bool,
    report: Path | None,
    as_json: bool,
    preview: bool,
    print_cm: str | None,
    background: Path | None,
    foreground: Path | None,
    foreground_mask: Path | None,
    background_mask: Path | None,
    matte: Path | None,
    aligned: bool,
    **settings: Any,
) -> None:
    """Merge a pair: FRAMES are two files, in any order.

    The frame with the smaller f-number becomes the background frame; at one f-number it is the one
    focused farther.  Masks are greyscale pictures of the background frame's size.

    \b
    blendkit merge wide.tif stopped.tif -o gate.tif --foreground-mask painted.png
    """  # noqa: D301 - \b keeps click from filling the example
    from blendkit.cli.merge_run import Job, run_merge, run_preview  # noqa: PLC0415 - quick help
    from blendkit.report.inputs import Given  # noqa: PLC0415

    given = Given(
        frames, background, foreground, foreground_mask, background_mask, matte, aligned=aligned
    )
    job = Job(
        given,
        output,
        settings_from(print_cm, settings),
        bits=int(bits) if bits else None,
        layers=layers,
        report=report,
        as_json=as_json,
    )
    run_preview(job) if preview else run_merge(job)


def settings_from(print_cm: str | None, given: dict[str, Any]) -> MergeSettings:
    """Return the settings that the options stand for."""
    viewing = with_given(ViewingSettings(), given, VIEWING)
    if print_cm is not None:
        width, height = parse_size(print_cm, unit="cm", name="--print")
        viewing = replace(viewing, print_width_cm=width, print_height_cm=height)
    return MergeSettings(
        alignment=with_given(AlignmentSettings(), given, ALIGNMENT),
        discs=with_given(DiscSettings(), given, DISCS),
        grain=with_given(GrainSettings(), given, GRAIN),
        viewing=viewing,
    )
