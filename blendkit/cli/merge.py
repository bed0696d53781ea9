"""`blendkit merge`: one pair into one picture."""

from pathlib import Path
from typing import Any

import click

from blendkit.cli.repair import MODES
from blendkit.cli.setting_options import setting_options
from blendkit.errors import InputError
from blendkit.plan.units import parse_size
from blendkit.settings import (
    AlignmentSettings,
    ApertureSettings,
    DiscSettings,
    GrainSettings,
    ViewingSettings,
)

FLAGS = {
    "alignment": (
        AlignmentSettings,
        {"model": "--motion", "least_confidence": "--least-confidence"},
    ),
    "discs": (DiscSettings, {"disc_px": "--disc-px"}),
    "aperture": (
        ApertureSettings,
        {"foreground_f": "--foreground-f", "background_f": "--background-f"},
    ),
    "grain": (GrainSettings, {"match": "--match-grain/--keep-grain", "seed": "--seed"}),
    "viewing": (ViewingSettings, {"viewing_cm": "--viewing"}),
}
"""Settings that are options, by stage; their help comes from the field."""

_FILE = click.Path(path_type=Path)


@click.command("merge")
@click.argument("frames", nargs=-1, type=_FILE)
@click.option("-o", "--output", type=_FILE, required=True, help="result: .tif, .png or .jpg")
@click.option("--background", type=_FILE, help="background frame, instead of A and B")
@click.option("--foreground", type=_FILE, help="foreground frame, instead of A and B")
@click.option(
    "--foreground-mask", type=_FILE, help="rough painting, white = search the foreground here"
)
@click.option("--background-mask", type=_FILE, help="white = nothing of the foreground frame here")
@click.option("--matte", type=_FILE, help="exact coverage of the foreground, used as it is")
@click.option("--strokes", type=_FILE, help="brush strokes as JSON, blendkit.strokes/1")
@click.option("--clear", type=_FILE, help="one more background frame, the foreground held aside")
@click.option(
    "--raw-colours", type=click.Choice(["wide", "srgb"]), default="wide", show_default=True,
    help="profile that RAW files are developed to, and the result with them",
)  # fmt: skip
@click.option("--aligned", is_flag=True, help="the frames lie on each other already")
@click.option(
    "--tie", "ties", multiple=True, metavar="X,Y=X,Y",
    help="the same point in background and foreground frame, px; repeat it",
)  # fmt: skip
@setting_options(*FLAGS["alignment"])
@setting_options(*FLAGS["discs"])
@setting_options(*FLAGS["aperture"])
@setting_options(*FLAGS["grain"])
@click.option("--print", "print_cm", metavar="WxH", help="print that flags are judged on, cm")
@setting_options(*FLAGS["viewing"])
@click.option("--bits", type=click.Choice(["8", "16", "32"]), help="of the result [default: 16]")
@click.option("--layers", is_flag=True, help="also write matte, plate and foreground")
@click.option("--pages", is_flag=True, help="also write all layers as named pages of one TIFF")
@click.option("--private", is_flag=True, help="leave place and serial numbers out of the result")
@click.option(
    "--deliver", "deliveries", multiple=True, metavar="WxH[,NAME=VALUE...]",
    help="a copy for the lab beside the result, as in 30x20,profile=srgb; repeat it",
)  # fmt: skip
@click.option("--repair", "repair", type=click.Choice(MODES), help="repair a soft mid-ground")
@click.option("--bridge", "bridges", type=_FILE, multiple=True, help="frame sharp in between")
@click.option("--report", type=_FILE, help="where to write the report [default: OUT.report.json]")
@click.option("--zones", type=_FILE, help="also write the numbered zones to this PNG")
@click.option("--page", is_flag=True, help="also write the report as a page, OUT.report.html")
@click.option("--json", "as_json", is_flag=True, help="print the report on standard output")
@click.option("--preview", is_flag=True, help="only a small result, quickly, to judge the masks")
def command(
    *,
    frames: tuple[Path, ...],
    output: Path,
    bits: str | None,
    layers: bool,
    pages: bool,
    private: bool,
    deliveries: tuple[str, ...],
    repair: str | None,
    bridges: tuple[Path, ...],
    report: Path | None,
    zones: Path | None,
    page: bool,
    as_json: bool,
    preview: bool,
    print_cm: str | None,
    background: Path | None,
    foreground: Path | None,
    foreground_mask: Path | None,
    background_mask: Path | None,
    matte: Path | None,
    strokes: Path | None,
    clear: Path | None,
    raw_colours: str,
    aligned: bool,
    ties: tuple[str, ...],
    **settings: Any,
) -> None:
    """Merge a pair: FRAMES are two files, in any order.

    The frame with the smaller f-number becomes the background frame; at one f-number it is the one
    focused farther.  Masks are greyscale pictures of the background frame's size.

    \b
    blendkit merge wide.tif stopped.tif -o gate.tif --foreground-mask painted.png
    """  # noqa: D301 - \b keeps click from filling the example
    from blendkit.cli.merge_run import Job, run_merge, run_preview  # noqa: PLC0415 - quick help
    from blendkit.files.delivery_plan import check_settings  # noqa: PLC0415
    from blendkit.files.delivery_spec import parse_delivery  # noqa: PLC0415
    from blendkit.report.inputs import Given  # noqa: PLC0415

    given = Given(
        frames,
        background,
        foreground,
        foreground_mask,
        background_mask,
        matte,
        strokes,
        clear,
        aligned=aligned,
        raw_colours=raw_colours,
    )
    job = Job(
        given,
        output,
        overrides_from(print_cm, settings),
        tuple(_tie(text) for text in ties),
        bits=int(bits) if bits else None,
        layers=layers,
        pages=pages,
        private=private,
        deliveries=tuple(parse_delivery(text) for text in deliveries),
        repair=repair or ("bridge" if bridges else None),
        bridges=bridges,
        report=report,
        zones=zones,
        page=page,
        as_json=as_json,
    )
    check_settings(job.deliveries)
    _check_asked(ties, repair, bridges, aligned=aligned)
    if preview:
        _check_preview(job)
        run_preview(job)
    else:
        run_merge(job)


def _check_asked(
    ties: tuple[str, ...], repair: str | None, bridges: tuple[Path, ...], *, aligned: bool
) -> None:
    """Raise InputError for options that contradict each other or miss one."""
    if aligned and ties:
        raise InputError(
            f"--tie {ties[0]}: says where the frames lie, and --aligned that they lie on each "
            "other; leave out one of them"
        )
    if repair == "bridge" and not bridges:
        raise InputError("--repair bridge: needs a third frame: give it with --bridge FILE")


def _check_preview(job: Any) -> None:
    """Raise InputError if a preview is asked for what only a merge in full writes."""
    asked = {
        "--layers": job.layers,
        "--pages": job.pages,
        "--page": job.page,
        "--zones": job.zones,
        "--report": job.report,
        "--deliver": job.deliveries,
        "--repair": job.repair,
    }
    for option, value in asked.items():
        if value:
            raise InputError(f"{option}: goes with a merge in full; leave it out with --preview")


def overrides_from(print_cm: str | None, given: dict[str, Any]) -> dict[str, dict[str, Any]]:
    """Return the settings that were given, {stage: {field: value}}."""
    found = {
        stage: {name: given[name] for name in flags if given.get(name) is not None}
        for stage, (_, flags) in FLAGS.items()
    }
    if print_cm is not None:
        width, height = parse_size(print_cm, unit="cm", name="--print")
        found["viewing"] |= {"print_width_cm": width, "print_height_cm": height}
    return {stage: values for stage, values in found.items() if values}


def _tie(text: str) -> tuple[tuple[float, float], tuple[float, float]]:
    try:
        (bx, by), (fx, fy) = (map(float, side.split(",")) for side in text.split("="))
    except ValueError as error:
        raise InputError(
            f"--tie {text}: give background and foreground px, as in 120,80=131,77"
        ) from error
    return (bx, by), (fx, fy)
