"""The report as one page that needs no network: pictures with a wipe, flags, sources, a profile."""

from base64 import b64encode
from collections.abc import Sequence
from html import escape
from io import BytesIO
from pathlib import Path

from PIL import Image

from blendkit.files import atomic
from blendkit.frame import Frame
from blendkit.merge import Merged
from blendkit.report.html_profile import profile_figure
from blendkit.report.html_style import SCRIPT, STYLE
from blendkit.report.labels import flag_labels, numbered
from blendkit.report.overlays import flags_picture, sources_picture
from blendkit.report.plain import Document
from blendkit.report.screen import Picture, on_screen

PAGE_PX = 1200
"""Long side of the page's pictures: three of them stay below about 2 MB."""


def write_html(
    path: Path | str,
    merged: Merged,
    background: Frame,
    foreground: Frame,
    *,
    document: Document,
    inputs: Sequence[Path | str] = (),
) -> None:
    """Write the page, whole or not at all.

    Parameters
    ----------
    path : of the page.
    merged : the result.
    background, foreground : the frames.
    document : its report, see `report_document`.
    inputs : files that must not be overwritten.
    """
    text = html_page(merged, background, foreground, document=document)
    with atomic(path, list(inputs)) as temporary:
        # A file name that is not UTF-8 holds lone surrogates.
        temporary.write_text(text, encoding="utf-8", errors="xmlcharrefreplace")


def html_page(merged: Merged, background: Frame, foreground: Frame, *, document: Document) -> str:
    """Return the page as HTML text; every picture is inside it."""
    result = on_screen(merged.pixels, background, long_side_px=PAGE_PX)
    views = {
        "Result": result,
        "Background frame": on_screen(background.pixels, background, long_side_px=PAGE_PX),
        "Foreground frame, aligned": on_screen(merged.aligned, background, long_side_px=PAGE_PX),
        "Flags": _flags(merged, result),
        "Sources": sources_picture(result, merged.sources),
    }
    title = Path(document["output"]["path"]).name if document.get("output") else "merge"
    return "\n".join(
        (
            "<!doctype html>",
            f'<html lang="en"><head><meta charset="utf-8"><title>{escape(title)}</title>',
            '<meta name="viewport" content="width=device-width, initial-scale=1">',
            f"<style>{STYLE}</style></head><body>",
            f"<h1>{escape(title)}</h1>",
            _wipe(views, foreground.name),
            _flag_table(document),
            _repair_table(document),
            profile_figure(merged, (background.capture, foreground.capture)),
            f"<script>{SCRIPT}</script></body></html>",
        )
    )


def _flags(merged: Merged, result: Picture) -> Picture:
    size = (merged.pixels.shape[1], merged.pixels.shape[0])
    severities = {number: flag.severity for number, flag in numbered(merged.flags)}
    return flags_picture(result, flag_labels(merged.flags, size), severities)


def _wipe(views: dict[str, Picture], foreground: str) -> str:
    """Return two pictures over each other with a slider, and what to choose for each side."""
    height, width = views["Result"].shape[:2]
    data = {name: _as_data(picture) for name, picture in views.items()}
    chosen = ("Background frame", "Result")
    sides = "".join(
        f'<label>{side} <select data-side="{side}">'
        + "".join(
            f"<option{' selected' if name == first else ''}>{escape(name)}</option>"
            for name in data
        )
        + "</select></label> "
        for side, first in zip(("left", "right"), chosen, strict=True)
    )
    images = "".join(
        f'<img hidden data-view="{escape(name)}" src="{source}" alt="{escape(name)}">'
        for name, source in data.items()
    )
    return (
        f"<h2>Pictures</h2><p>{sides}<label>wipe "
        '<input type="range" id="wipe" min="0" max="100" value="50"></label></p>'
        f'<div id="stage" style="aspect-ratio:{width}/{height}">'
        '<img id="right" alt="right picture"><img id="left" alt="left picture">'
        f'<div id="line"></div></div><p class="small">foreground frame: {escape(foreground)}</p>'
        f"<div>{images}</div>"
    )


def _as_data(picture: Picture) -> str:
    buffer = BytesIO()
    Image.fromarray(picture).save(buffer, "JPEG", quality=85)
    return "data:image/jpeg;base64," + b64encode(buffer.getvalue()).decode("ascii")


def _flag_table(document: Document) -> str:
    rows = "".join(
        f'<tr class="{flag["severity"]}"><td>{flag["id"]}</td><td>{flag["severity"]}</td>'
        f"<td>{escape(flag['kind'])}</td><td>{escape(flag['message'])}</td>"
        f"<td>{escape(flag['advice'])}</td></tr>"
        for flag in document["flags"]
    )
    if not rows:
        return "<h2>Flags</h2><p>None.</p>"
    head = "<tr><th>no.</th><th>severity</th><th>kind</th><th>what</th><th>what to do</th></tr>"
    return f"<h2>Flags</h2><table>{head}{rows}</table>"


def _repair_table(document: Document) -> str:
    rows = "".join(
        f"<tr><td>{escape(item['flag'])}</td><td>{escape(item['mode'])}</td><td>{item['before']}</td>"
        f"<td>{item['after'] or 'no flag'}</td><td>{'yes' if item['applied'] else 'no'}</td>"
        f"<td>{escape(item['why'])}</td></tr>"
        for item in document["repairs"]
    )
    if not rows:
        return ""
    head = "".join(f"<th>{h}</th>" for h in ("flag", "mode", "before", "after", "applied", "why"))
    return f"<h2>Repairs</h2><table><tr>{head}</tr>{rows}</table>"
