"""summary.html: what needs a hand first; one file that needs nothing beside it but the results."""

import base64
from collections.abc import Mapping, Sequence
from html import escape
from pathlib import Path
from typing import Any
from urllib.parse import quote

from blendkit.batch.folder import RECORDS
from blendkit.batch.records import STATUSES
from blendkit.batch.thumbs import KINDS, thumb_path

_TITLES = {
    "failed": "No result",
    "needs-a-look": "Look at these",
    "merged": "Merged",
    "left-out": "Left out",
}
_TALLY = {
    "failed": "without result",
    "needs-a-look": "to look at",
    "merged": "merged",
    "left-out": "left out",
}
_SIGNS = {"failed": "✕", "needs-a-look": "!", "merged": "✓", "left-out": "-"}
_CAPTIONS = {
    "before": "background frame",
    "after": "result",
    "marked": "flags",
}

_STYLE = """
:root { color-scheme: light dark; --ink: #1c1b19; --paper: #f6f4ef; --card: #fff; --soft: #6b675f;
  --failed: #d55e00; --needs-a-look: #e69f00; --merged: #009e73; --left-out: #8a867e; }
@media (prefers-color-scheme: dark) { :root { --ink: #eceae4; --paper: #191816; --card: #24221f;
  --soft: #a9a49a; } }
* { box-sizing: border-box; }
body { margin: 0 auto; max-width: 1500px; padding: 2rem 1.5rem 4rem; background: var(--paper);
  color: var(--ink); font: 16px/1.5 system-ui, sans-serif; }
h1 { font-size: 1.6rem; margin: 0 0 .3rem; }
h2 { font-size: 1.15rem; margin: 2.2rem 0 .8rem; }
.tally { display: flex; flex-wrap: wrap; gap: .6rem 1.6rem; margin: 0; padding: 0;
  list-style: none; }
.tally a { color: inherit; }
.sign { display: inline-block; width: 1.5em; height: 1.5em; line-height: 1.5em; border-radius: 50%;
  text-align: center; font-weight: 700; color: #111; margin-right: .35em; }
article { background: var(--card); border-left: 5px solid; border-radius: 4px;
  padding: .9rem 1.1rem; margin: 0 0 .9rem; }
article h3 { margin: 0; font-size: 1.02rem; }
article p { margin: .15rem 0 .5rem; max-width: 75ch; overflow-wrap: anywhere; }
.files { color: var(--soft); font-size: .86rem; overflow-wrap: anywhere; }
.views { display: grid; margin: .5rem 0; gap: .6rem;
  grid-template-columns: repeat(auto-fit, minmax(260px, 1fr)); }
figure { margin: 0; }
figure img { width: 100%; height: auto; display: block; background: #000; }
figcaption { font-size: .8rem; color: var(--soft); padding-top: .2rem; }
"""


def summary_page(document: Mapping[str, Any], out: Path) -> str:
    """Return the page for a summary document and the output folder that holds its pictures."""
    groups: dict[str, list[Mapping[str, Any]]] = {
        status: _of(document["pairs"], status) for status in STATUSES
    }
    tally = "".join(
        f'<li><a href="#{status}">{_sign(status)}{len(pairs)} {_TALLY[status]}</a></li>'
        for status, pairs in groups.items()
        if pairs
    )
    sections = "".join(_section(status, pairs, out) for status, pairs in groups.items() if pairs)
    ended = (
        "<p>The run was ended before all pairs were reached.</p>" if document["interrupted"] else ""
    )
    return (
        '<!doctype html>\n<html lang="en"><head><meta charset="utf-8">'
        '<meta name="viewport" content="width=device-width, initial-scale=1">'
        f"<title>{_headline(groups)}</title><style>{_STYLE}</style></head><body>"
        f"<h1>{_headline(groups)}</h1>{ended}<ul class='tally'>{tally}</ul>{sections}"
        "</body></html>\n"
    )


def _of(pairs: Sequence[Mapping[str, Any]], status: str) -> list[Mapping[str, Any]]:
    """Return the pairs of a status, those with the loudest flags first."""
    chosen = [pair for pair in pairs if pair["status"] == status]
    return sorted(chosen, key=lambda pair: (-pair["flags"]["fail"], -pair["flags"]["warn"]))


def _headline(groups: Mapping[str, Sequence[Any]]) -> str:
    count = sum(len(pairs) for pairs in groups.values())
    hand = len(groups["failed"]) + len(groups["needs-a-look"])
    need = (
        "none needs a hand" if not hand else f"{hand} need a hand" if hand > 1 else "1 needs a hand"
    )
    return f"{count} pair{'s' if count != 1 else ''}, {need}"


def _sign(status: str) -> str:
    return f'<span class="sign" style="background: var(--{status})">{_SIGNS[status]}</span>'


def _section(status: str, pairs: Sequence[Mapping[str, Any]], out: Path) -> str:
    cards = "".join(_card(pair, out) for pair in pairs)
    return f'<section id="{status}"><h2>{_sign(status)}{_TITLES[status]}</h2>{cards}</section>'


def _card(pair: Mapping[str, Any], out: Path) -> str:
    reason = f"<p>{escape(_as_sentence(pair['reason']))}</p>" if pair["reason"] else ""
    return (
        f'<article style="border-color: var(--{pair["status"]})"><h3>{escape(pair["name"])}</h3>'
        f"{reason}{_views(pair, out)}<div class='files'>{_files(pair)}</div></article>"
    )


def _as_sentence(reason: str) -> str:
    return reason[:1].upper() + reason[1:] + ("" if reason.endswith(".") else ".")


def _views(pair: Mapping[str, Any], out: Path) -> str:
    if not pair["output"]:
        return ""
    figures = []
    for kind in KINDS:
        path = thumb_path(out / RECORDS, pair["name"], kind)
        if path.is_file():
            data = base64.b64encode(path.read_bytes()).decode("ascii")
            unflagged = kind == "marked" and not (pair["flags"]["warn"] or pair["flags"]["fail"])
            caption = "where its pixels came from" if unflagged else _CAPTIONS[kind]
            label = escape(f"{pair['name']}: {caption}")
            figures.append(
                f'<figure><img src="data:image/jpeg;base64,{data}" alt="{label}" loading="lazy">'
                f"<figcaption>{caption}</figcaption></figure>"
            )
    return f'<div class="views">{"".join(figures)}</div>' if figures else ""


def _files(pair: Mapping[str, Any]) -> str:
    parts = [
        f'<a href="{quote(pair[what])}">{escape(pair[what])}</a>'
        for what in ("output", "report")
        if pair[what]
    ]
    parts.append(" + ".join(escape(Path(name).name) for name in pair["inputs"]))
    flags = [f"{n} {kind}{'s' if n > 1 else ''}" for kind, n in pair["flags"].items() if n]
    if flags:
        parts.append("flags: " + ", ".join(flags))
    if pair["time_s"]:
        parts.append(f"{pair['time_s']:.1f} s")
    return " · ".join(parts)
