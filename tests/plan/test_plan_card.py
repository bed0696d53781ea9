"""The card: self-contained, with numbers, diagram, checklist and cautions."""

import re
from dataclasses import replace
from html.parser import HTMLParser

import pytest

from blendkit.plan import Scene, card_html, make_plan, plan_document
from blendkit.plan.checklist import CAUTIONS, captures

ORCHARD = {"foreground_at_m": 2.2, "subject_at_m": 4.0, "background_at_m": 14.0}
VOID = {"meta", "input"}


class Balance(HTMLParser):
    """Checks that tags close in order, and gathers text and links."""

    def __init__(self) -> None:
        super().__init__()
        self.open: list[str] = []
        self.words: list[str] = []
        self.links: list[str] = []

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        """Leave what closes itself."""

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        """Note links, and what must be closed."""
        self.links += [value or "" for name, value in attrs if name in {"src", "href"}]
        if tag not in VOID:
            self.open.append(tag)

    def handle_endtag(self, tag: str) -> None:
        """Check the order."""
        assert self.open.pop() == tag

    def handle_data(self, data: str) -> None:
        """Gather the text."""
        self.words.append(data.replace("\N{NO-BREAK SPACE}", " "))


def read_card(**more: float) -> tuple[Balance, str]:
    page = Balance()
    scene = Scene(focal_length_mm=135, wide_f_number=2, **ORCHARD, **more)
    page.feed(card_html(make_plan(scene)))
    return page, " ".join("".join(page.words).split())


def test_card_closes_its_tags_and_needs_nothing_from_outside() -> None:
    page, _ = read_card()
    assert page.open == []
    assert page.links == []


def test_card_lists_the_captures_in_order() -> None:
    _, text = read_card(exposure_time_s=1 / 500, iso=100)
    steps = [
        "background frame: f/2 focused at 4.00 m, 1/500 s, ISO 100",
        "foreground frame 2 times: f/16 focused at 2.20 m, 1/8 s at the same ISO",
        "bridge frames, if the mid-ground matters: f/16 focused at 2.45, 2.74, 3.12 and 3.63 m",
        "exposed as the foreground frame",
        "clear frame: as the background frame, with the bough held or moved aside",
        "Do not move the tripod",
        "Same white balance",
        "Flash in all frames or in none",
    ]
    places = [text.index(step) for step in steps]
    assert places == sorted(places)


def test_card_carries_the_cautions_and_the_diagram() -> None:
    _, text = read_card()
    for caution in CAUTIONS:
        assert caution in text
    assert "322 px" in text
    assert "foreground 2.20 m" in text


def test_a_single_frame_needs_no_clear_frame() -> None:
    plan = make_plan(Scene(focal_length_mm=85, wide_f_number=2, subject_at_m=3))
    (only,) = captures(plan)
    assert only.times == 2
    assert only.how.startswith("f/2 focused at 3.00 m")


GATE = Scene(
    focal_length_mm=85,
    wide_f_number=2,
    foreground_at_m=3,
    subject_at_m=4,
    background_at_m=4.2,
    exposure_time_s=1 / 500,
    iso=100,
    sway_mm_s=30,
)
"""One frame at f/11 is enough: five steps from f/2, so 1/500 s (1/512) becomes 1/16.

Focused at 3.4305 m, not at 4 m, it is extended by 85/3345.5 of itself instead of 85/3915: that
costs (1.025407/1.021711)^2 = 1.00725 more, 32.23 times in all.
"""


def test_a_single_frame_at_another_f_number_is_not_exposed_as_metered_wide_open() -> None:
    plan = make_plan(GATE)
    (only,) = captures(plan)
    assert only.how.startswith("f/11 focused at 3.43 m")
    assert only.how.endswith(", 1/15 s at ISO 100, or 1/500 s at ISO 3200")
    (told,) = (line for line in plan.advice if line.startswith("Exposure"))
    assert told.startswith("Exposure: f/11 takes in 5.0 steps less light than f/2.")
    assert "32.2 times the shutter time (1/500 s becomes 1/15 s)" in told
    # image 86.85 mm behind the lens: 0.006 / (86.85/3000 x 30) = 6.91 ms, 62.95 is 9.11 times that
    assert "1/15 s at f/11 is 9.11 times too long" in plan.advice[-1]
    (frame,) = plan_document(plan)["advised"]["frames"]
    assert frame["exposure"] == pytest.approx(
        {"factor": 32.23, "exposure_time_s": 0.06295, "iso": 3223}, rel=2e-4
    )


def test_a_single_frame_that_nobody_metered_tells_the_factor() -> None:
    (only,) = captures(make_plan(replace(GATE, exposure_time_s=None, iso=None)))
    assert only.how.endswith(", shutter time or ISO x 32.2 of what f/2 meters")
    (only,) = captures(make_plan(replace(GATE, iso=None)))
    assert only.how.endswith(", 1/15 s at the ISO as metered, or 1/500 s at ISO x 32.2")


def test_a_phone_parts_no_number_from_its_unit() -> None:
    scene = Scene(focal_length_mm=135, wide_f_number=2, **ORCHARD)
    page = re.sub(r"<svg.*?</svg>", "", card_html(make_plan(scene)), flags=re.DOTALL)
    body = page.split("<body>")[1]
    assert re.findall(r"\d (?:%|mm|cm|m|px|s|degrees)\b", body) == []
    assert re.findall(r"\d %", body) == []
    assert "<td>281\N{NO-BREAK SPACE}px, 7.0\N{NO-BREAK SPACE}%</td>" in body


def test_the_card_lists_every_bridge_frame() -> None:
    near = {"foreground_at_m": 1.6, "subject_at_m": 2.0, "background_at_m": 8.0}
    plan = make_plan(Scene(focal_length_mm=300, wide_f_number=2.8, **near))
    (bridge,) = plan.bridges
    assert len(bridge.frames) > 8
    (line,) = (capture for capture in captures(plan) if capture.name.startswith("bridge"))
    assert line.name == "bridge frames, if the mid-ground matters"
    how = line.how.removesuffix(" m, exposed as the foreground frame")
    places = how.removeprefix("f/16 focused at ").replace(" and ", ", ")
    told = [float(place) for place in places.split(", ")]
    assert told == [round(frame.focus_distance_m, 3) for frame in bridge.frames]
    assert any(", ..., " in sentence for sentence in plan.advice), "in the text the middle is left"


def test_a_bridge_over_the_subject_is_not_left_to_the_mid_ground() -> None:
    wide, near = 20.0, 5.0
    scene = Scene(
        focal_length_mm=135,
        wide_f_number=2.8,
        stopped_f_number=2.8,
        focus_wide_m=wide,
        focus_stopped_m=near,
        subject_at_m=8,
    )
    assert "bridge frames, for the subject" in [line.name for line in captures(make_plan(scene))]


def how_of(name: str, scene: Scene) -> str:
    (how,) = (line.how for line in captures(make_plan(scene)) if line.name.startswith(name))
    return how


@pytest.mark.parametrize(
    ("time_s", "iso", "told"),
    [
        (1 / 90, 560, "1/90 s, ISO 560"),
        (1 / 45, 1100, "1/45 s, ISO 1100"),
        (0.7, 70, "0.7 s, ISO 70"),
        (1 / 500, 100, "1/500 s, ISO 100"),
        (1 / 8000, 12800, "1/8000 s, ISO 12800"),
        (0.3, 100, "0.3 s, ISO 100"),
        (1 / 4, 100, "1/4 s, ISO 100"),
        (2.0, 100, "2 s, ISO 100"),
        (1 / 500, None, "1/500 s, ISO as metered"),
        (None, 800, "shutter as metered, ISO 800"),
        (None, None, "shutter and ISO as metered"),
    ],
)
def test_what_was_metered_stays_as_it_was_given(
    time_s: float | None, iso: float | None, told: str
) -> None:
    """Half steps too, which lie between the marks in thirds: 1/45, 1/90, 0.7 s, ISO 70, 560."""
    scene = Scene(focal_length_mm=135, wide_f_number=2, **ORCHARD, exposure_time_s=time_s, iso=iso)
    assert how_of("background frame", scene) == f"f/2 focused at 4.00 m, {told}"
    (exposure,) = (line for line in make_plan(scene).advice if line.startswith("Exposure"))
    for given in told.split(", "):
        assert "metered" in given or f"{given} becomes" in exposure


def test_a_single_frame_keeps_what_was_metered_and_marks_what_was_computed() -> None:
    """1/90 s x 32.23 = 0.358 s, a sixth of a step from 0.4 s; ISO 560 x 32.23 = 18050."""
    how = how_of("the frame", replace(GATE, exposure_time_s=1 / 90, iso=560))
    assert how.endswith(", 0.4 s at ISO 560, or 1/90 s at ISO 20000")
    how = how_of("the frame", replace(GATE, exposure_time_s=None, iso=800))
    assert how.endswith(
        ", shutter time x 32.2 of what f/2 meters at ISO 800, or as metered at ISO 25600"
    )


FOCUS_PAIR = Scene(
    focal_length_mm=100,
    wide_f_number=4,
    stopped_f_number=4,
    focus_wide_m=20,
    focus_stopped_m=8,
    subject_at_m=12,
    exposure_time_s=1 / 500,
)


def test_a_bridge_at_another_f_number_tells_its_exposure() -> None:
    """f/10 at 11.4 m: 2 2/3 steps from f/4 are 6.350 times, (1.00883/1.00503)^2 more make 6.398."""
    plan = make_plan(FOCUS_PAIR)
    (frame,) = plan.bridges[0].frames
    (line,) = (line for line in captures(plan) if line.name.startswith("bridge"))
    assert line.name == "bridge frame, for the subject"
    assert frame.f_number == 10
    assert line.how.startswith("f/10 focused at 11.4 m, 1/80 s at the same ISO")
    assert line.how.endswith("or the same shutter at ISO x 6.4")
    (needed,) = (one["exposure"] for one in plan_document(plan)["advised"]["bridges"][0])
    assert needed["factor"] == pytest.approx(6.398, rel=1e-3)
    assert needed["exposure_time_s"] == pytest.approx(2**-9 * needed["factor"])  # 1/500 is 2^-9
    assert needed["iso"] is None
