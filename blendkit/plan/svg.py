"""Small pieces of SVG: lines, bars and labels that do not cover each other."""

from collections.abc import Iterable
from dataclasses import dataclass
from html import escape
from typing import NamedTuple

FONT_PX = 14.0
GLYPH_PX = 0.56 * FONT_PX
"""A generous mean width of a glyph in a sans-serif face of that size."""

WIDER = 1.3
"""What a wide face takes in place of that."""


class Anchored(NamedTuple):
    """A label that wants to stand over x."""

    x: float
    text: str


@dataclass(frozen=True, slots=True)
class Placed:
    """A label, its left edge and the row that it found free (0 = nearest to what it labels).

    Written, it starts at `at`, or ends there where `anchor` says so: near the right edge, which a
    wide face would run over.
    """

    x: float
    text: str
    left: float
    row: int
    at: float
    anchor: str


def text_width(text: str) -> float:
    """Return an upper estimate of a text's width in px."""
    return len(text) * GLYPH_PX


def place_labels(labels: Iterable[Anchored], *, left: float, right: float) -> list[Placed]:
    """Put labels over their x, inside left to right, on the first row where they have room.

    >>> [label.row for label in place_labels([Anchored(50, "near"), Anchored(60, "next")],
    ...     left=0, right=200)]
    [0, 1]
    """
    ends: list[float] = []
    placed = []
    for x, text in sorted(labels):
        width = text_width(text)
        start = max(left, min(x - width / 2, right - width))
        row = next((i for i, end in enumerate(ends) if end + GLYPH_PX <= start), len(ends))
        ends[row : row + 1] = [start + width]
        near_edge = x + WIDER * width / 2 > right and start > left
        at, anchor = (start + width, "end") if near_edge else (start, "start")
        placed.append(Placed(x, text, start, row, at, anchor))
    return placed


def text(x: float, y: float, content: str, *, anchor: str = "start") -> str:
    """Return a text with a white rim, so that lines behind it do not cross it."""
    return f'<text x="{x:.1f}" y="{y:.1f}" text-anchor="{anchor}">{escape(content)}</text>'


def cover(x: float, y: float, content: str) -> str:
    """Return a white ground for a text that starts at (x, y), so that no line runs through it."""
    width = text_width(content)
    return (
        f'<rect x="{x:.1f}" y="{y - FONT_PX:.1f}" width="{width:.1f}" height="{FONT_PX * 1.3:.1f}"'
        ' class="cover"/>'
    )


def line(start: tuple[float, float], end: tuple[float, float], style: str) -> str:
    """Return a straight line of a class of style."""
    (x1, y1), (x2, y2) = start, end
    return f'<line x1="{x1:.1f}" y1="{y1:.1f}" x2="{x2:.1f}" y2="{y2:.1f}" class="{style}"/>'


def polyline(points: Iterable[tuple[float, float]], style: str) -> str:
    """Return a line through points."""
    path = " ".join(f"{x:.1f},{y:.1f}" for x, y in points)
    return f'<polyline points="{path}" class="{style}"/>'


def bar(x1: float, x2: float, y: float, *, height: float, style: str) -> str:
    """Return a horizontal bar, at least 2 px wide."""
    return (
        f'<rect x="{x1:.1f}" y="{y:.1f}" width="{max(x2 - x1, 2.0):.1f}" height="{height:.1f}"'
        f' class="{style}"/>'
    )
