"""The diagrams: no label over another or off the page, readable in grey, true to the numbers."""

import itertools
import re
from xml.etree import ElementTree as ET

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from PIL import ImageFont

from blendkit.plan import Plan, Scene, card_html, diagram_svg, make_plan, plan_text
from blendkit.plan.axis import axis_for
from blendkit.plan.diagram import STYLE
from blendkit.plan.diagram_text import diagram_text
from blendkit.plan.svg import Anchored, place_labels

FONT = ImageFont.load_default(14)
SVG = "{http://www.w3.org/2000/svg}"
CASES = {
    "orchard": {"foreground_at_m": 2.2, "subject_at_m": 4.0, "background_at_m": 14.0},
    "near": {"foreground_at_m": 0.55, "subject_at_m": 0.7, "background_at_m": 2.0},
    "far": {"focal_length_mm": 300.0, "foreground_at_m": 50.0, "subject_at_m": 60.0},
    "close together": {"foreground_at_m": 19.0, "subject_at_m": 20.0, "background_at_m": 21.0},
    "alone": {"subject_at_m": 3.0},
    "infinity": {"foreground_at_m": 1.0, "subject_at_m": 30.0, "focus_wide_m": float("inf")},
    "focus pair": {"subject_at_m": 8.0, "focus_stopped_m": 5.0, "focus_wide_m": 20.0},
}


def plan_for(**given: object) -> Plan:
    return make_plan(Scene(**({"focal_length_mm": 135.0, "wide_f_number": 2.0} | given)))  # type: ignore[arg-type]


def text_boxes(svg: str) -> list[tuple[float, float, float, float, str]]:
    """Left, top, right, bottom of every text, measured with a real font."""
    boxes = []
    for item in ET.fromstring(svg).iter(f"{SVG}text"):  # noqa: S314 - our own document
        label = item.text or ""
        width = FONT.getlength(label)
        x, y = float(item.attrib["x"]), float(item.attrib["y"])
        left = {"start": x, "middle": x - width / 2, "end": x - width}[item.attrib["text-anchor"]]
        boxes.append((left, y - 11, left + width, y + 3, label))
    return boxes


def assert_legible(svg: str, width: float) -> None:
    boxes = text_boxes(svg)
    for one, two in itertools.combinations(boxes, 2):
        apart = one[2] <= two[0] or two[2] <= one[0] or one[3] <= two[1] or two[3] <= one[1]
        assert apart, (one, two)
    for left, top, right, _, label in boxes:
        assert left >= 0, label
        assert right <= width, label
        assert top >= 0, label


@pytest.mark.parametrize("case", CASES)
@pytest.mark.parametrize("width", [480.0, 880.0])
def test_labels_are_apart_and_on_the_page(case: str, width: float) -> None:
    assert_legible(diagram_svg(plan_for(**CASES[case]), width_px=width), width)


WIDER = 1.25
"""A phone's face may be wider than the one measured with (so are some common ones)."""


@pytest.mark.parametrize("case", CASES)
@pytest.mark.parametrize("width", [480.0, 880.0])
def test_a_wide_face_is_not_cut_off_at_the_right(case: str, width: float) -> None:
    svg = diagram_svg(plan_for(**CASES[case]), width_px=width)
    for item in ET.fromstring(svg).iter(f"{SVG}text"):  # noqa: S314 - our own document
        across = FONT.getlength(item.text or "") * WIDER
        x = float(item.attrib["x"])
        right = {"start": x + across, "middle": x + across / 2, "end": x}
        assert right[item.attrib["text-anchor"]] <= width, item.text


def test_a_label_at_the_right_edge_ends_there() -> None:
    labels = [Anchored(100, "near"), Anchored(395, "far away")]
    inside, clamped = place_labels(labels, left=4, right=400)
    assert (inside.anchor, inside.at) == ("start", inside.left)
    assert (clamped.anchor, clamped.at) == ("end", 400)


@settings(max_examples=80, deadline=None)
@given(
    focal=st.floats(24, 400),
    wide=st.sampled_from([1.2, 2.0, 4.0]),
    near=st.floats(0.6, 60),
    middle=st.floats(1.005, 10),
    far=st.none() | st.floats(1.005, 50),
)
def test_any_plan_draws_and_writes_legibly(
    focal: float, wide: float, near: float, middle: float, far: float | None
) -> None:
    subject = near * middle
    plan = plan_for(
        focal_length_mm=focal,
        wide_f_number=wide,
        foreground_at_m=near,
        subject_at_m=subject,
        background_at_m=None if far is None else subject * far,
    )
    for width in (480.0, 880.0):
        assert_legible(diagram_svg(plan, width_px=width), width)
    assert max(len(line) for line in plan_text(plan).splitlines()) <= 88
    assert "nan" not in card_html(plan)


def grey(colour: str) -> float:
    """Luma of a hex colour, 0 to 1 (ITU-R BT.601 weights, as a grey print takes them)."""
    digits = colour * 2 if len(colour) == 3 else colour
    if len(colour) == 3:
        digits = "".join(digit * 2 for digit in colour)
    red, green, blue = (int(digits[i : i + 2], 16) / 255 for i in (0, 2, 4))
    return 0.299 * red + 0.587 * green + 0.114 * blue


def test_frames_differ_in_grey_and_by_dash() -> None:
    fills = [grey(match) for match in re.findall(r"\.b\d\{fill:#([0-9a-f]+)", STYLE)]
    assert len(fills) == 3
    assert min(abs(a - b) for a, b in itertools.combinations(fills, 2)) > 0.15
    dashes = {re.search(rf"\.c{i}\{{[^}}]*stroke:#[^}}]*\}}", STYLE)[0][4:] for i in range(3)}  # type: ignore[index]
    assert len({re.sub(r"#[0-9a-f]+", "", dash) for dash in dashes}) == 3


def test_reciprocal_axis_puts_the_harmonic_mean_in_the_middle() -> None:
    axis = axis_for(plan_for(**CASES["orchard"]))
    near, far = axis.position(2.2), axis.position(4)
    assert axis.position(2 * 2.2 * 4 / 6.2) == pytest.approx((near + far) / 2, rel=1e-12)
    assert axis.position(axis.distance_m(0.3)) == pytest.approx(0.3)
    assert axis.position(float("inf")) == 1


def test_bars_stand_where_the_intervals_are() -> None:
    plan = plan_for(**CASES["orchard"])
    root = ET.fromstring(diagram_svg(plan))  # noqa: S314 - our own document
    bars = {
        item.attrib["class"]: item for item in root.iter(f"{SVG}rect") if "class" in item.attrib
    }
    box = next(item for item in root.iter(f"{SVG}rect") if item.attrib.get("class") == "frame")
    left, width = float(box.attrib["x"]), float(box.attrib["width"])
    axis = axis_for(plan)
    start = left + width * axis.position(plan.advised_gaps[0].near_m)
    end = left + width * axis.position(plan.advised_gaps[0].far_m)
    gap = bars["gap"].attrib
    assert float(gap["x"]) == pytest.approx(start, abs=0.1)
    assert float(gap["x"]) + float(gap["width"]) == pytest.approx(end, abs=0.2)


def test_text_diagram_marks_sharp_gap_and_places() -> None:
    lines = diagram_text(plan_for(**CASES["orchard"])).splitlines()
    assert "foreground 2.20 m" in lines[0]
    wide, stopped, gap = (
        next(x for x in lines if x.startswith(s)) for s in ("f/2", "f/16", "in no")
    )
    assert stopped.index("#") < stopped.rindex("#") <= gap.index("~") <= gap.rindex("~")
    assert gap.rindex("~") < wide.index("#") + 1
