"""What a plan tells, against values worked out on paper from the formulas of the thin lens.

m = f/(s - f), v = f (1 + m), disc c = (f/N) m |d - s|/d, Airy disc 2.44 x 546 nm x N (1 + m/P).
The orchard: 135 mm on 36 x 24 mm, 6 um pixels, d/1500 = 0.0288444 mm; at 4 m m = 135/3865 =
0.0349288 and v = 139.715 mm.
"""

import math
import re
from xml.etree import ElementTree as ET

import pytest

from blendkit.plan import Plan, Scene, diagram_svg, make_plan, table_text

ORCHARD = {"foreground_at_m": 2.2, "subject_at_m": 4.0, "background_at_m": 14.0}


def plan_for(**given: object) -> Plan:
    return make_plan(Scene(**({"focal_length_mm": 135.0, "wide_f_number": 2.0} | given)))  # type: ignore[arg-type]


def sentence(plan: Plan, start: str) -> str:
    return next(line for line in plan.advice if line.startswith(start))


@pytest.mark.parametrize(
    ("pupil", "by_print", "by_pixels"), [(1.0, 20.920, 8.703), (0.5, 20.237, 8.419)]
)
def test_diffraction_limits_count_two_pixels_the_print_and_the_magnification(
    pupil: float, by_print: float, by_pixels: float
) -> None:
    """0.0288444 and 0.012 mm over 0.00133224 mm x 1.0349288; with a pupil of 0.5 x 1.0698577."""
    limits = plan_for(**ORCHARD, pupil=pupil).limits
    assert limits.by_print == pytest.approx(by_print, abs=0.001)
    assert limits.by_pixels == pytest.approx(by_pixels, abs=0.001)


def test_the_print_s_limit_goes_by_the_print() -> None:
    """60 x 40 cm from 36 x 24 mm, seen from 25 cm: 0.2/16.667 = 0.012 mm, as much as two pixels.

    From 1 m it is 0.048 mm: 0.048/0.00137877 = 34.8.
    """
    told = sentence(plan_for(**ORCHARD, print_cm=(60.0, 40.0), viewing_cm=25.0), "Diffraction")
    assert "at 100 % past f/8.7 and on the print past f/8.7" in told
    told = sentence(plan_for(**ORCHARD, print_cm=(60.0, 40.0), viewing_cm=100.0), "Diffraction")
    assert "at 100 % past f/8.7 and on the print past f/35" in told


def test_diffraction_tells_the_airy_disc_of_the_frame_stopped_down_most() -> None:
    """f/16 focused at 2.2 m: 0.00133224 x 16 x (1 + 135/2065) = 0.0227 mm, 3.8 px.

    At 4 m it would be 0.0221 mm and 3.7 px, at f/2 0.003 mm.
    """
    told = sentence(plan_for(**ORCHARD), "Diffraction")
    assert "at f/16 the Airy disc is 0.023 mm (3.8 px)" in told


def test_see_through_is_what_is_narrower_than_the_whole_disc() -> None:
    """67.5 x 0.0349288 x 1.8/2.2 = 1.9290 mm, over 139.715/2200: 30.4 mm of a bough at 2.2 m."""
    assert "anything narrower than 3.0 cm is see-through" in sentence(
        plan_for(**ORCHARD), "The veil"
    )


def test_walking_up_keeps_the_distance_between_subject_and_background() -> None:
    """85 mm has m = 0.0349288 at 2.5185 m, the hedge then stands at 12.5185 m.

    Disc 42.5 x 0.0349288 x 10/12.5185 = 1.1858 mm, 4.94 % of 24 mm; 36 mm x 12518.5/87.969 =
    5.123 m across.
    """
    told = sentence(plan_for(**ORCHARD), "Crop or zoom")
    assert "walking up to 2.52 m with it instead" in told
    assert "gives discs of 4.9 % and shows a strip of 5.12 m instead of 3.61 m" in told


@pytest.mark.parametrize(("pixels", "told"), [((6000, 4000), "42 %"), ((4000, 6000), "28 %")])
def test_one_metre_of_the_background_fills_a_share_of_the_height(
    pixels: tuple[int, int], told: str
) -> None:
    """1000 x 139.715/14000 = 9.980 mm on the sensor, of a height of 24 mm, or upright of 36 mm."""
    plan = plan_for(**ORCHARD, pixels=pixels)
    assert f"one metre of it fills {told} of the frame height" in sentence(plan, "How big")


def test_sway_and_table_go_by_the_focus_of_the_wide_frame() -> None:
    """Focused at 6 m m = 135/5865 and v = 138.107 mm; the subject at 4 m has the scale v/4000.

    0.006 mm over 0.0345269 x 5 mm/s = 34.755 ms.  Table: f/2 blurs the subject by 67.5 x 135/5865 x
    2/4 = 0.777 mm and 14 m by 67.5 x 135/5865 x 8/14 = 0.888 mm.
    """
    plan = plan_for(**ORCHARD, focus_wide_m=6.0, sway_mm_s=5.0)
    assert plan.sway is not None
    assert plan.sway.subject_s == pytest.approx(0.034755, rel=1e-4)
    assert plan.sway.foreground_s == pytest.approx(0.034755 * 2.2 / 4, rel=1e-4)
    title, _, f_2, *_ = table_text(plan).splitlines()
    assert title.startswith("Focused at 6.00 m")
    cells = re.split(r"\s{2,}", f_2.strip())
    assert cells[0] == "f/2"
    assert cells[-3:-1] == ["0.78 mm", "0.89 mm"]


def test_the_diagram_draws_the_circle_of_confusion_on_its_scale() -> None:
    """0.0288444 mm lies 0.9642 of the way from 0.01 to 0.03 mm, in logarithms."""
    root = ET.fromstring(diagram_svg(plan_for(**ORCHARD)))  # noqa: S314 - our own document
    svg = "{http://www.w3.org/2000/svg}"
    lines = [item.attrib for item in root.iter(f"{svg}line")]
    ticks = {
        item.text: float(item.attrib["y"]) - 5
        for item in root.iter(f"{svg}text")
        if item.attrib["text-anchor"] == "end" and (item.text or "").endswith(" mm")
    }
    assert ticks["0.01 mm"] in [float(line["y1"]) for line in lines if line.get("class") == "grid"]
    share = math.log(0.0288444 / 0.01) / math.log(3)
    wanted = ticks["0.01 mm"] + share * (ticks["0.03 mm"] - ticks["0.01 mm"])
    drawn = next(line for line in lines if line.get("class") == "coc")
    assert float(drawn["y1"]) == float(drawn["y2"]) == pytest.approx(wanted, abs=0.2)


def test_f_22_itself_is_in_use_for_one_frame() -> None:
    """85 mm, 3 to 6 m: k = (0.985833 - 0.971667)/1.9575, N = 85 k/0.0288444 = 21.3."""
    plan = plan_for(focal_length_mm=85.0, foreground_at_m=3.0, subject_at_m=6.0)
    assert plan.one_frame.exact_f_number == pytest.approx(21.33, abs=0.01)
    assert (plan.one_frame.f_number, plan.one_frame.verdict) == (22, "at a price")


def test_f_22_itself_is_in_use_for_a_bridge() -> None:
    """100 mm at f/4, 5 and 20 m: the gap from 5.2996 to 16.2654 m takes f/22.3 at 7.99 m.

    f^2/(N c) = 86672 mm; limits 5000 x 86672/81772 and 20000 x 86672/106572;
    k = (0.993852 - 0.981131)/1.974983 = 0.0064412, N = 100 k/0.0288444 = 22.33; f/22 is 22.63.
    """
    plan = plan_for(
        focal_length_mm=100.0,
        wide_f_number=4.0,
        stopped_f_number=4.0,
        focus_wide_m=20.0,
        focus_stopped_m=5.0,
        subject_at_m=7.0,
    )
    (bridge,) = plan.bridges
    assert bridge.least_f_number == pytest.approx(22.33, abs=0.01)
    assert [frame.f_number for frame in bridge.frames] == [22]
    assert "A bridge frame at f/22 focused at 7.99 m closes it." in sentence(plan, "The mid-ground")
