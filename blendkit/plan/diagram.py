"""The diagram of a plan as SVG: blur by distance for each frame, what is sharp, what is not.

Frames differ by dash and width as well as by tone, so the diagram survives a grey print.
"""

import math
from collections.abc import Iterator
from dataclasses import dataclass

from blendkit.plan import svg, wording
from blendkit.plan.advice_pair import setting
from blendkit.plan.axis import Axis, axis_for, clipped, places
from blendkit.plan.frames import discs_mm
from blendkit.plan.records import FramePlan, Plan

MARGIN_LEFT, MARGIN_RIGHT = 72.0, 22.0
LABEL_ROW, CURVES, BAR_ROW, BAR = 20.0, 230.0, 46.0, 12.0
LARGEST_TICKS = (100.0, 30.0, 10.0, 3.0, 1.0, 0.3, 0.1, 0.03, 0.01, 0.003, 0.001)

STYLE = """
text{font:14px sans-serif;fill:#111;paint-order:stroke;stroke:#fff;stroke-width:4px}
.grid{stroke:#ccc;stroke-width:1}.frame{stroke:#555;stroke-width:1;fill:none}
.place{stroke:#555;stroke-width:1;stroke-dasharray:2 3}
.cover{fill:#fff}.coc{stroke:#111;stroke-width:1.4}
.c0,.c1,.c2{fill:none;stroke-linejoin:round}
.c0{stroke:#004a75;stroke-width:3.2}.c1{stroke:#c05000;stroke-width:2.4;stroke-dasharray:9 4}
.c2{stroke:#777;stroke-width:1.8;stroke-dasharray:2 4}
.b0{fill:#004a75}.b1{fill:#d9772b;stroke:#7a3300}.b2{fill:#ccc;stroke:#777}
.gap{fill:url(#hatch);stroke:#111;stroke-width:1}
""".strip()
HATCH = (
    '<defs><pattern id="hatch" width="6" height="6" patternUnits="userSpaceOnUse"'
    ' patternTransform="rotate(45)"><rect width="6" height="6" fill="#fff"/>'
    '<line x1="0" y1="0" x2="0" y2="6" stroke="#111" stroke-width="2"/></pattern></defs>'
)


@dataclass(frozen=True, slots=True)
class Page:
    """Where the curves stand: px of the box, the axis across, log10 of discs in mm down."""

    axis: Axis
    width: float
    top: float
    low: float
    high: float

    @property
    def right(self) -> float:
        """Right edge of the curves in px."""
        return self.width - MARGIN_RIGHT

    @property
    def bottom(self) -> float:
        """Bottom edge of the curves in px."""
        return self.top + CURVES

    def x(self, position: float) -> float:
        """Return px across for a position on the axis, 0 to 1."""
        return MARGIN_LEFT + position * (self.right - MARGIN_LEFT)

    def y(self, value_mm: float) -> float:
        """Return px down for a blur disc; what is smaller than the scale lies on its edge."""
        level = math.log10(max(value_mm, 10**self.low))
        return self.bottom - (level - self.low) / (self.high - self.low) * CURVES


def diagram_svg(plan: Plan, *, width_px: float = 880.0) -> str:
    """Return the diagram as an SVG document; a phone reads one of 480 px width.

    Distance is on a reciprocal scale, the blur disc's diameter on a logarithmic one.
    """
    frames = frames_shown(plan)
    axis = axis_for(plan)
    labels = svg.place_labels(
        [
            svg.Anchored(
                MARGIN_LEFT + axis.position(m) * (width_px - MARGIN_LEFT - MARGIN_RIGHT),
                f"{name} {wording.distance(m)}",
            )
            for name, m in places(plan)
        ],
        left=4.0,
        right=width_px - 4.0,
    )
    top = 16.0 + LABEL_ROW * (1 + max(label.row for label in labels))
    page = Page(axis, width_px, top, *_scale(plan, frames, axis))
    rows_top = page.bottom + 56.0
    height = rows_top + BAR_ROW * (len(frames) + bool(plan.advised_gaps)) + 30.0
    body = [
        *_places(page, labels, end=height - 32.0),
        *_grid(page),
        *_curves(plan, frames, page),
        *_rows(plan, frames, page, rows_top),
        *_key(plan, height - 12.0),
    ]
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {width_px:.0f} {height:.0f}"'
        f' width="{width_px:.0f}" height="{height:.0f}" role="img">'
        f"<title>Blur disc by distance, and what each frame holds sharp</title>"
        f'<style>{STYLE}</style>{HATCH}<rect width="100%" height="100%" fill="#fff"/>'
        + "\n".join(body)
        + "</svg>\n"
    )


def frames_shown(plan: Plan) -> list[FramePlan]:
    """Return the advised frames, then the foreground frame as asked if another is advised."""
    advised = list(plan.advised)
    asked = plan.frames[1]
    instead = len(advised) == 2 and asked.exposure != advised[1].exposure
    return [*advised, asked] if instead else advised


def _scale(plan: Plan, frames: list[FramePlan], axis: Axis) -> tuple[float, float]:
    ends = [axis.distance_m(0.0), axis.distance_m(1.0)]
    largest = max(float(discs_mm(plan.scene, frame, ends).max()) for frame in frames)
    coc_mm = plan.scene.circle_of_confusion_mm
    return math.log10(coc_mm / 5), math.log10(max(largest, coc_mm * 3) * 1.3)


def _grid(page: Page) -> Iterator[str]:
    for value in LARGEST_TICKS:
        if page.low < math.log10(value) < page.high:
            y = page.y(value)
            yield svg.line((MARGIN_LEFT, y), (page.right, y), "grid")
            yield svg.text(MARGIN_LEFT - 6, y + 5, f"{value:g} mm", anchor="end")
    reached = 0.0
    for tick in reversed(page.axis.ticks_m()):
        label = "\N{INFINITY}" if math.isinf(tick) else f"{tick:g} m"
        x, half = page.x(page.axis.position(tick)), svg.text_width(label) / 2
        if reached == 0.0 or x + half < reached - svg.GLYPH_PX:
            yield svg.line((x, page.bottom), (x, page.bottom + 5), "frame")
            yield svg.cover(x - half, page.bottom + 20, label)
            at, anchor = (x, "middle") if x + half + 2 <= page.width else (page.width - 2, "end")
            yield svg.text(at, page.bottom + 20, label, anchor=anchor)
            reached = x - half
    yield (
        f'<rect x="{MARGIN_LEFT}" y="{page.top:.1f}" width="{page.right - MARGIN_LEFT:.1f}"'
        f' height="{CURVES}" class="frame"/>'
    )


def _places(page: Page, labels: list[svg.Placed], *, end: float) -> Iterator[str]:
    for label in labels:
        y = page.top - 12 - LABEL_ROW * label.row
        yield svg.line((label.x, y + 3), (label.x, end), "place")
    for label in labels:
        y = page.top - 12 - LABEL_ROW * label.row
        yield svg.text(label.at, y, label.text, anchor=label.anchor)


def _curves(plan: Plan, frames: list[FramePlan], page: Page) -> Iterator[str]:
    coc_y = page.y(plan.scene.circle_of_confusion_mm)
    yield svg.line((MARGIN_LEFT, coc_y), (page.right, coc_y), "coc")
    for index, frame in reversed(list(enumerate(frames))):
        focus = page.axis.position(frame.focus_distance_m)
        positions = sorted({*(step / 400 for step in range(401)), focus})
        discs = discs_mm(plan.scene, frame, [page.axis.distance_m(p) for p in positions])
        points = ((page.x(p), page.y(value)) for p, value in zip(positions, discs, strict=True))
        yield svg.polyline(points, f"c{index}")


def _rows(plan: Plan, frames: list[FramePlan], page: Page, top: float) -> Iterator[str]:
    for index, frame in enumerate(frames):
        y = top + BAR_ROW * index
        key = svg.line((MARGIN_LEFT, y - 5), (MARGIN_LEFT + 40, y - 5), f"c{index}")
        label = f"{setting(frame)}: sharp {wording.span(*frame.sharp)}"
        if index >= len(plan.advised):
            label = label.replace("focused", "left", 1)
        yield _covering(page, MARGIN_LEFT + 48, y, label, key)
        yield _interval_bar(page, clipped(page.axis, frame.sharp), y + 8, f"b{index}")
    if plan.advised_gaps:
        y = top + BAR_ROW * len(frames)
        spans = ", ".join(wording.span(*gap) for gap in plan.advised_gaps)
        label = f"in no frame: {spans}"
        yield _covering(page, MARGIN_LEFT, y, label)
        for gap in plan.advised_gaps:
            yield _interval_bar(page, clipped(page.axis, gap), y + 8, "gap")


def _covering(page: Page, x: float, y: float, label: str, key: str = "") -> str:
    """Return a label on a white ground that starts at x, or ends at the page's edge if it must."""
    edge, width = page.width - 4.0, svg.text_width(label)
    if x + width <= edge:
        return svg.cover(x, y, label) + key + svg.text(x, y, label)
    return svg.cover(edge - width, y, label) + key + svg.text(edge, y, label, anchor="end")


def _interval_bar(page: Page, ends: tuple[float, float], y: float, style: str) -> str:
    return svg.bar(page.x(ends[0]), page.x(ends[1]), y, height=BAR, style=style)


def _key(plan: Plan, y: float) -> Iterator[str]:
    coc = wording.disc(plan.scene.circle_of_confusion_mm)
    yield svg.line((MARGIN_LEFT, y - 5), (MARGIN_LEFT + 40, y - 5), "coc")
    yield svg.text(MARGIN_LEFT + 48, y, f"below it, sharp: a blur disc of {coc}")
