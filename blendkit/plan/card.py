"""The card: one page for a phone, or for a print in the bag."""

from html import escape

from blendkit.plan import wording
from blendkit.plan.checklist import CAUTIONS, RULES, captures
from blendkit.plan.diagram import diagram_svg
from blendkit.plan.records import FramePlan, Plan

WIDTH_PX = 480.0

STYLE = """
body{font:16px/1.35 sans-serif;color:#111;background:#fff;max-width:34em;margin:0 auto;padding:12px}
h1{font-size:1.3em;margin:0 0 .3em}h2{font-size:1.05em;margin:1em 0 .3em}
ul,ol{margin:0;padding-left:1.3em}li{margin:.15em 0;break-inside:avoid}
.boxes{list-style:none;padding:0}.boxes label{display:flex}
.boxes input{flex:none;width:1.1em;height:1.1em;margin:.1em .5em 0 0}
table{border-collapse:collapse;width:100%}th,td{border-bottom:1px solid #999;padding:.2em .3em;
text-align:right}th:first-child,td:first-child{text-align:left}svg{width:100%;height:auto}
.cautions{border:2px solid #111;padding:.4em .6em}
@page{margin:10mm}
@media print{body{font-size:11px;max-width:none;padding:0}h2{margin:.6em 0 .2em}
.sides{display:grid;grid-template-columns:1fr 1fr;gap:8mm}.why ul{columns:2;column-gap:8mm}}
""".strip()


def card_html(plan: Plan) -> str:
    """Return a self-contained page: checklist, numbers, diagram, advice, cautions."""
    scene = plan.scene
    place = f"subject at {wording.distance(scene.subject_at_m)}"
    if scene.foreground_at_m is not None:
        place = f"foreground at {wording.distance(scene.foreground_at_m)}, {place}"
    if scene.background_at_m is not None:
        place += f", background at {wording.distance(scene.background_at_m)}"
    title = f"{wording.focal_length(scene.focal_length_mm)}: {place}"
    left = _section("Take", _checklist(plan)) + _section("Numbers", _numbers(plan))
    right = _section("Blur by distance", diagram_svg(plan, width_px=WIDTH_PX))
    right += f'<div class="cautions"><h2>Cautions</h2>{_list(CAUTIONS)}</div>'
    return (
        '<!doctype html>\n<html lang="en"><head><meta charset="utf-8">'
        '<meta name="viewport" content="width=device-width, initial-scale=1">'
        f"<title>{escape(title)}</title><style>{STYLE}</style></head><body>"
        f'<h1>{_held(title)}</h1><div class="sides"><div>{left}</div><div>{right}</div></div>'
        f'<div class="why">{_section("Why", _list(plan.advice))}</div></body></html>\n'
    )


def _held(line: str) -> str:
    return escape(wording.held(line))


def _section(title: str, content: str) -> str:
    return f"<h2>{title}</h2>{content}\n"


def _list(lines: tuple[str, ...]) -> str:
    return "<ul>" + "".join(f"<li>{_held(line)}</li>" for line in lines) + "</ul>"


def _checklist(plan: Plan) -> str:
    lines = []
    for capture in captures(plan):
        times = "" if capture.times == 1 else f" <b>{capture.times} times</b>"
        lines.append(f"<b>{escape(capture.name)}</b>{times}: {_held(capture.how)}")
    lines += [escape(rule) for rule in RULES]
    boxes = "".join(
        f'<li><label><input type="checkbox"><span>{line}</span></label></li>' for line in lines
    )
    return f'<ul class="boxes">{boxes}</ul>'


def _numbers(plan: Plan) -> str:
    frames = plan.advised
    rows = "".join(
        f"<tr><th>{name}</th>" + "".join(f"<td>{_held(value)}</td>" for value in values) + "</tr>"
        for name, *values in zip(*(_column(frame) for frame in (None, *frames)), strict=True)
    )
    width, height, diagonal = plan.framing.field_of_view_deg
    across, down = (wording.length(side) for side in plan.framing.subject_m)
    below = (
        f"Field of view {width:.1f} x {height:.1f} degrees (diagonal {diagonal:.1f}); at the"
        f" subject {across} x {down}. Sharp: discs up to"
        f" {wording.disc(plan.scene.circle_of_confusion_mm)}."
    )
    return f"<table>{rows}</table><p>{_held(below)}</p>"


def _column(frame: FramePlan | None) -> list[str]:
    """Return one column of the table; None gives its heads."""
    if frame is None:
        heads = ["frame", "focus", "sharp", "blur, foreground", "blur, subject", "blur, background"]
        return [*heads, "Airy disc"]
    foreground, subject, background = frame.blur_disc_px
    return [
        wording.aperture(frame.f_number),
        wording.distance(frame.focus_distance_m),
        wording.span(*frame.sharp),
        "none" if foreground is None else wording.pixels(foreground),
        wording.pixels(subject),
        f"{wording.pixels(background)}, {wording.percent(frame.blur_disc_height.background)}",
        wording.disc(frame.airy_disc_mm),
    ]
