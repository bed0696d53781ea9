"""Light lost by extension: m = f/(s - f), bellows factor (1 + m/P)^2, steps its log2, by hand."""

import pytest

from blendkit.plan import Exposure, Plan, Scene, make_plan, plan_document
from blendkit.plan.checklist import captures
from blendkit.plan.light import light_at

CLOSE = {
    "focal_length_mm": 100.0,
    "wide_f_number": 8.0,
    "stopped_f_number": 8.0,
    "foreground_at_m": 0.35,
    "subject_at_m": 0.6,
    "focus_stopped_m": 0.35,
}
"""m = 100/250 = 0.4 against 100/500 = 0.2: (1.4/1.2)^2 = 1.36111, 0.4448 steps."""

ORCHARD = {"foreground_at_m": 2.2, "subject_at_m": 4.0, "background_at_m": 14.0}
"""135/2065 against 135/3865: (1.065375/1.034929)^2 = 1.05970, 0.0837 steps."""


def plan_for(**given: object) -> Plan:
    return make_plan(Scene(**({"focal_length_mm": 135.0, "wide_f_number": 2.0} | given)))  # type: ignore[arg-type]


def sentences(plan: Plan, start: str) -> list[str]:
    return [line for line in plan.advice if line.startswith(start)]


def lines_of(plan: Plan) -> dict[str, str]:
    return {capture.name: capture.how for capture in captures(plan)}


@pytest.mark.parametrize(("pupil", "factor"), [(1.0, 1.361111), (0.5, 1.653061)])
def test_a_closer_frame_is_darker_by_the_ratio_of_the_bellows_factors(
    pupil: float, factor: float
) -> None:
    """With a pupil of 0.5: (1.8/1.4)^2 = 1.653061."""
    scene = Scene(**CLOSE, pupil=pupil)  # type: ignore[arg-type]
    assert light_at(scene, Exposure(8, 0.35)).factor == pytest.approx(factor, rel=1e-6)
    assert light_at(scene, Exposure(8, 0.6)).factor == 1
    assert light_at(scene, Exposure(16, 0.35)).factor == pytest.approx(4 * factor, rel=1e-6)


def test_a_close_focus_pair_is_told_to_change_its_exposure() -> None:
    """1/250 s means 1/256 s; 1.3611 times it is 1/188 s, nearest to 1/200 s."""
    plan = plan_for(**CLOSE, exposure_time_s=1 / 250, iso=100.0)
    (told,) = sentences(plan, "Exposure")
    assert told.startswith(
        "Exposure: f/8 focused at 0.350 m takes in 0.4 steps less light than f/8 focused at"
        " 0.600 m, for it is focused closer. Keep the two equal with 1.36 times the shutter time"
    )
    assert "shutter and ISO as before" not in lines_of(plan)["foreground frame"]
    assert "1/200 s at the same ISO" in lines_of(plan)["foreground frame"]


def test_a_focus_pair_from_farther_away_keeps_shutter_and_iso() -> None:
    """0.08 steps are below half a third of one: no camera can be set so finely."""
    plan = plan_for(**ORCHARD, wide_f_number=2.8, stopped_f_number=2.8, focus_stopped_m=2.2)
    assert sentences(plan, "Exposure") == []
    assert lines_of(plan)["foreground frame"].endswith("shutter and ISO as before")


def test_the_refocused_frame_of_the_orchard_counts_its_extension() -> None:
    """64 times 1.0597 is 67.82, and six steps are 6.08."""
    plan = plan_for(**ORCHARD, exposure_time_s=1 / 500, iso=100.0)
    _, foreground = plan_document(plan)["advised"]["frames"]
    assert foreground["exposure"] == pytest.approx(
        {"factor": 67.82, "exposure_time_s": 67.82 / 512, "iso": 6782}, rel=1e-4
    )
    (told,) = sentences(plan, "Exposure")
    assert "takes in 6.1 steps less light" in told
    assert "(0.1 lost by focusing closer)" in told


def test_the_document_counts_the_extension_of_the_frames_as_asked() -> None:
    document = plan_document(plan_for(**ORCHARD, focus_stopped_m=2.2))
    assert document["exposure_steps"] == pytest.approx(6.0837, abs=1e-4)
    assert document["exposure"]["factor"] == pytest.approx(67.82, rel=1e-4)


def test_bridge_frames_close_up_are_exposed_by_their_extension() -> None:
    """At f/16, 0.356 m: m = 0.3906, (1.3906/1.2)^2 = 1.343; 0.581 m: m = 0.2079, 1.0132."""
    told = sentences(plan_for(**CLOSE), "A bridge frame at f/16")
    assert [line.split(": ")[1] for line in told] == [
        "5.37 times the shutter time or ISO.",
        "4.05 times the shutter time or ISO.",
    ]
    assert told[0].startswith("A bridge frame at f/16 focused at 0.356 m takes in 2.4 steps less")
    assert told[1].startswith("A bridge frame at f/16 focused at 0.581 m takes in 2.0 steps less")


def test_the_card_exposes_bridge_frames_from_the_nearest_to_the_farthest() -> None:
    """5.37 and 4.05 times 1/256 s are 1/47.7 and 1/63.2 s."""
    lines = lines_of(plan_for(**CLOSE, exposure_time_s=1 / 250))
    how = lines["bridge frames, if the mid-ground matters"]
    assert "0.581 m, the nearest with 1/50 s at the same ISO" in how
    assert "the farthest with 1/60 s at the same ISO" in how
