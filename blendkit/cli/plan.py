"""`blendkit plan`: which frames to take, before the shoot."""

import json
import math
from collections.abc import Callable
from dataclasses import fields
from pathlib import Path
from typing import Any, NamedTuple

import click

from blendkit.errors import InputError
from blendkit.files import atomic, check_output
from blendkit.optics.checks import MM_PER_M
from blendkit.optics.distances import distance
from blendkit.optics.recorded_sensor import recorded_sensor_mm
from blendkit.plan import Plan, Scene, card_html, diagram_svg, make_plan, plan_document, plan_text
from blendkit.plan.as_json import table_document
from blendkit.plan.checklist import CAUTIONS
from blendkit.plan.recorded import Exposed, carried_over
from blendkit.plan.table import table_text
from blendkit.plan.units import (
    parse_length_m,
    parse_length_mm,
    parse_number,
    parse_pixels,
    parse_sensor_mm,
    parse_shutter_s,
    parse_size,
)


class Given(NamedTuple):
    """How a field of the scene is given on the line."""

    flag: str
    metavar: str
    parse: Callable[[str, str], Any]


def _distance(text: str, flag: str) -> float:
    return parse_length_m(text, name=flag)


def _number_such_as(example: str) -> Callable[[str, str], float]:
    return lambda text, flag: parse_number(text, name=flag, example=example)


def _focal_length(text: str, flag: str) -> float:
    return parse_length_mm(text, bare="mm", name=flag, example="135mm")


def _centimetres(text: str, flag: str) -> float:
    return parse_length_mm(text, bare="cm", name=flag, example="50cm") / 10


GIVEN = {
    "focal_length_mm": Given("--focal-mm", "MM", _focal_length),
    "sensor_mm": Given("--sensor", "NAME|WxH", lambda text, flag: parse_sensor_mm(text, name=flag)),
    "foreground_at_m": Given("--foreground-at", "DISTANCE", _distance),
    "subject_at_m": Given("--subject-at", "DISTANCE", _distance),
    "background_at_m": Given("--background-at", "DISTANCE", _distance),
    "wide_f_number": Given("--wide", "F-NUMBER", _number_such_as("2")),
    "stopped_f_number": Given("--stopped", "F-NUMBER", _number_such_as("16")),
    "focus_wide_m": Given("--focus-wide", "DISTANCE", _distance),
    "focus_stopped_m": Given("--focus-stopped", "DISTANCE", _distance),
    "coc_mm": Given("--coc-mm", "MM", _number_such_as("0.03")),
    "print_cm": Given("--print", "WxH", lambda text, flag: parse_size(text, unit="cm", name=flag)),
    "viewing_cm": Given("--viewing", "CM", _centimetres),
    "pixels": Given("--pixels", "WxH", lambda text, flag: parse_pixels(text, name=flag)),
    "pupil": Given("--pupil", "NUMBER", _number_such_as("0.8")),
    "sway_mm_s": Given("--sway-mm-s", "MM/S", _number_such_as("5")),
    "exposure_time_s": Given(
        "--shutter", "TIME", lambda text, flag: parse_shutter_s(text, name=flag)
    ),
    "iso": Given("--iso", "ISO", _number_such_as("100")),
}
"""Fields of `Scene` in the order of help; their help comes from the field."""


def _scene_options(function: Callable[..., None]) -> Callable[..., None]:
    items = {item.name: item for item in fields(Scene)}
    for name, given in reversed(GIVEN.items()):
        option = click.option(
            given.flag, name, metavar=given.metavar, help=items[name].metadata["help"]
        )
        function = option(function)
    return function


@click.command(
    epilog="Distances take a unit (27ft, 8.2m, 300mm); bare ones are metres.  \n\n"
    + " ".join(CAUTIONS)
)
@_scene_options
@click.option(
    "--from",
    "frame",
    metavar="FRAME",
    help="take focal length, f-number, focus, size and exposure from a photograph;"
    " another --wide, --shutter or --iso keeps the light",
)
@click.option("--table", is_flag=True, help="also limits and blur from f/2 to f/22")
@click.option("--diagram", metavar="FILE.svg", help="write blur by distance as a picture")
@click.option("--card", metavar="FILE.html", help="write one page for the phone or the bag")
@click.option("--json", "as_json", is_flag=True, help="print the plan as JSON instead")
def command(
    *,
    frame: str | None,
    table: bool,
    diagram: str | None,
    card: str | None,
    as_json: bool,
    **given: str | None,
) -> None:
    """Tell which frames to take, before the shoot.

    \b
    blendkit plan --focal-mm 135 --wide 2 --stopped 16 \\
        --foreground-at 2.2m --subject-at 4m --background-at 14m
    """  # noqa: D301 - \b keeps click from filling the example
    _check_targets(frame, {diagram: ".svg", card: ".html"})
    plan = make_plan(_scene(frame, given))
    for target, write in ((diagram, diagram_svg), (card, card_html)):
        if target is not None:
            _write(target, write(plan))
    click.echo(_as_json(plan, table=table) if as_json else _as_text(plan, table=table))


def _check_targets(frame: str | None, targets: dict[str | None, str]) -> None:
    for target, suffix in targets.items():
        if target is None:
            continue
        if Path(target).suffix.lower() != suffix:
            raise InputError(f"{target}: end the name in {suffix}, which is what is written")
        check_output(target, [frame] if frame else [])


def _scene(frame: str | None, given: dict[str, str | None]) -> Scene:
    """Return the scene from a photograph and from the line, which wins."""
    line = {
        name: GIVEN[name].parse(text, GIVEN[name].flag)
        for name, text in given.items()
        if text is not None
    }
    recorded, notes = _from_frame(frame, line) if frame else ({}, [])
    values = {**recorded, **line}
    for name in ("focal_length_mm", "subject_at_m", "wide_f_number"):
        if name not in values:
            raise InputError(_missing(GIVEN[name].flag, frame))
    try:
        scene = Scene(**values)
    except InputError as error:
        raise InputError(_in_flags(str(error))) from error
    for told in notes:  # on stderr, where they are in the way of no program that reads the plan
        click.echo(f"{frame}: {told}", err=True)
    return scene


def _missing(flag: str, frame: str | None) -> str:
    examples = {"--focal-mm": "135", "--subject-at": "4m", "--wide": "2"}
    start = f"{frame}: does not record what {flag} says" if frame else f"{flag} is missing"
    return f"{start}; give it, such as {flag} {examples[flag]}"


EXPOSED = ("wide_f_number", "exposure_time_s", "iso")


def _from_frame(frame: str, line: dict[str, Any]) -> tuple[dict[str, Any], list[str]]:
    """Return what a photograph says of the scene; what became of its exposure, what was assumed."""
    from blendkit.files.capture import read_capture  # noqa: PLC0415 - reads pictures, loads much

    capture, size = read_capture(frame)
    exposed, told = carried_over(
        Exposed(capture.f_number, capture.exposure_time_s, capture.iso),
        Exposed(*(line.get(name) for name in EXPOSED)),
    )
    found: dict[str, Any] = {
        "focal_length_mm": capture.focal_length_mm,
        "pixels": size,
        **dict(zip(EXPOSED, exposed, strict=True)),
    }
    notes = [told]
    if capture.focal_length_mm and capture.focal_length_35mm and "sensor_mm" not in line:
        found["sensor_mm"], assumed = recorded_sensor_mm(
            capture.focal_length_mm, capture.focal_length_35mm, line.get("pixels", size)
        )
        notes.append(assumed)
    if "subject_at_m" not in line:  # else the focus of the photograph is another subject's
        focal_mm = line.get("focal_length_mm", capture.focal_length_mm)
        subject_m = _subject_m(frame, capture.focus_distance_m, focal_mm)
        found |= dict.fromkeys(("subject_at_m", "focus_wide_m"), subject_m)
    known = {name: value for name, value in found.items() if value is not None}
    return known, [note for note in notes if note]


def _subject_m(frame: str, focus_m: float | None, focal_mm: float | None) -> float | None:
    """Return where a photograph was focused; InputError where no subject can be."""
    why = ""
    if focus_m is not None and math.isinf(focus_m):
        why = "where no subject is"
    elif focus_m is not None and focal_mm is not None and focus_m * MM_PER_M <= focal_mm:
        why = f"inside the focal length of {focal_mm:g} mm"
    if focus_m is None or not why:
        return focus_m
    raise InputError(
        f"{frame}: records a focus at {distance(focus_m)}, {why}; give --subject-at, such as"
        " --subject-at 4m"
    )


def _in_flags(message: str) -> str:
    for name in sorted(GIVEN, key=len, reverse=True):
        message = message.replace(name, GIVEN[name].flag)
    return message


def _write(target: str, content: str) -> None:
    with atomic(target) as temporary:
        temporary.write_text(content, encoding="utf-8")
    click.echo(f"wrote {target}", err=True)


def _as_json(plan: Plan, *, table: bool) -> str:
    document = plan_document(plan)
    if table:
        document["table"] = table_document(plan)
    return json.dumps(document, indent=2, allow_nan=False)


def _as_text(plan: Plan, *, table: bool) -> str:
    return "\n\n".join([plan_text(plan), *([table_text(plan)] if table else [])])
