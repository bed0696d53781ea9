"""Which frames are advised, and what the sentences say."""

import math
import re

import pytest

from blendkit.batch.choose import _MOST_BRIDGES
from blendkit.optics import blur_disc_mm, depth_of_field
from blendkit.plan import Plan, Scene, card_html, make_plan, plan_text, table_text, wording
from blendkit.plan.advice_pair import LISTED_BRIDGES


def plan_for(**given: object) -> Plan:
    return make_plan(Scene(**({"focal_length_mm": 135.0, "wide_f_number": 2.0} | given)))  # type: ignore[arg-type]


ORCHARD = {"foreground_at_m": 2.2, "subject_at_m": 4.0, "background_at_m": 14.0}


def sentence(plan: Plan, start: str) -> str:
    return next(line for line in plan.advice if line.startswith(start))


def test_orchard_takes_a_pair_with_the_foreground_frame_refocused() -> None:
    plan = plan_for(**ORCHARD)
    assert plan.one_frame.verdict == "no"
    background, foreground = plan.advised
    assert background.exposure == (2.0, 4.0)
    assert foreground.exposure == (16.0, 2.2)
    assert "f/68 focused at 2.84 m" in sentence(plan, "One frame is not enough")
    assert "0.24 mm (40 px), 8.4 times" in sentence(plan, "Stopping down alone does not do it")
    assert "refocus the foreground frame to 2.20 m" in " ".join(plan.advice).lower()


def test_a_lens_that_stops_down_beyond_the_marks_is_believed() -> None:
    """Large formats end at f/90 and f/128 (common practice, no source)."""
    plan = plan_for(**ORCHARD, stopped_f_number=90.0)
    assert (plan.one_frame.verdict, plan.one_frame.f_number) == ("at a price", 90.0)
    assert "beyond" not in sentence(plan, "One frame would do")


def test_numbers_of_the_orchard_by_hand() -> None:
    """Magnification 135/3865, discs f/N m |d-s|/d, the rest on a pocket calculator."""
    wide, stopped = plan_for(**ORCHARD).frames
    scale = 135 / 3865
    assert wide.blur_disc_mm.background == pytest.approx(67.5 * scale * 10 / 14, rel=1e-9)
    assert stopped.blur_disc_mm.foreground == pytest.approx(8.4375 * scale * 1.8 / 2.2, rel=1e-9)
    assert wide.blur_disc_mm.subject == 0
    assert wide.blur_disc_px.background == pytest.approx(280.7, abs=0.1)
    assert wide.blur_disc_height.background == pytest.approx(0.0702, abs=1e-4)
    assert stopped.airy_disc_mm == pytest.approx(2.44 * 546e-6 * 16 * (1 + scale), rel=1e-9)


def test_framing_exposure_and_parallax_of_the_orchard() -> None:
    plan = plan_for(**ORCHARD)
    assert plan.exposure_steps == 6
    assert plan.framing.subject_m == pytest.approx((1.0307, 0.6871), abs=1e-4)
    assert plan.framing.background_m == pytest.approx((3.607, 2.405), abs=1e-3)
    assert plan.framing.field_of_view_deg == pytest.approx((14.68, 9.82, 17.61), abs=0.01)
    # the lens centre as a pinhole 139.7 mm before the sensor, pixels of 6 um
    assert plan.parallax_px_per_mm == pytest.approx(
        139.7 * (1 / 2200 - 1 / 14000) / 0.006, rel=1e-3
    )


def test_the_gap_lies_between_the_two_depths() -> None:
    plan = plan_for(**ORCHARD)
    (gap,) = plan.advised_gaps
    coc = plan.scene.circle_of_confusion_mm
    near = depth_of_field(2.2, focal_length_mm=135, f_number=16, coc_mm=coc).far_m
    far = depth_of_field(4, focal_length_mm=135, f_number=2, coc_mm=coc).near_m
    assert gap == pytest.approx((float(near), float(far)))
    assert "between 2.32 and 3.95 m" in sentence(plan, "The mid-ground gap")


def test_gaps_of_the_frames_as_asked_count_the_foreground() -> None:
    plan = plan_for(**ORCHARD)
    (gap,) = plan.gaps
    assert gap == pytest.approx((2.2, 3.6434), abs=1e-4)


def test_one_frame_is_enough_where_the_wide_f_number_reaches() -> None:
    plan = plan_for(focal_length_mm=35.0, wide_f_number=11.0, foreground_at_m=2.5, subject_at_m=4.0)
    assert plan.one_frame.verdict == "enough"
    (frame,) = plan.advised
    assert frame.sharp.near_m < 2.5
    assert frame.sharp.far_m > 4
    assert len(plan.bracket) == 1
    assert plan.advised_gaps == ()


def test_one_frame_is_enough_where_nobody_sees_the_difference() -> None:
    """f/2.2 instead of f/2: discs closer than 1.28 to 1 (Mather & Smith 2002, Weber 0.28)."""
    plan = plan_for(
        focal_length_mm=85.0, foreground_at_m=10.0, subject_at_m=12.0, background_at_m=60.0
    )
    assert plan.one_frame.verdict == "enough"
    assert plan.advised[0].f_number == 2.2
    ratio = plan.frames[0].blur_disc_mm.background / plan.advised[0].blur_disc_mm.background
    assert ratio < 1.28
    assert "cannot be told" in plan.advice[0]


def test_one_frame_at_a_price_tells_the_price() -> None:
    plan = plan_for(
        focal_length_mm=85.0, foreground_at_m=6.0, subject_at_m=8.0, background_at_m=60.0
    )
    assert plan.one_frame.verdict == "at a price"
    assert plan.one_frame.f_number is not None
    assert 2 < plan.one_frame.f_number <= 22
    assert "the background's blur disc falls from" in plan.advice[0]
    assert plan.advice[1].startswith("Otherwise take a pair")


def test_a_stopped_frame_that_reaches_the_foreground_needs_no_refocusing() -> None:
    plan = plan_for(focal_length_mm=85.0, foreground_at_m=6.0, subject_at_m=8.0)
    assert plan.advised[1].exposure == (16.0, 8.0)
    assert plan.advised_gaps == ()
    sentence(plan, "No refocusing needed")
    sentence(plan, "No mid-ground gap")


def test_a_foreground_frame_that_can_reach_both_is_focused_between() -> None:
    """At f/16 the depth from the subject misses the foreground, from in between it does not."""
    plan = plan_for(focal_length_mm=135.0, foreground_at_m=6.5, subject_at_m=9.0)
    stopped = plan.advised[1]
    assert plan.frames[1].sharp.near_m > 6.5
    assert 6.5 < stopped.focus_distance_m < 9
    assert stopped.sharp.near_m <= 6.5
    assert plan.advised_gaps == ()


def test_focus_pair_leaves_a_soft_middle_that_stopping_down_closes() -> None:
    """Near and far frame at a wide aperture (common practice, no source)."""
    plan = plan_for(
        focal_length_mm=100.0,
        wide_f_number=4.0,
        stopped_f_number=4.0,
        focus_wide_m=20.0,
        focus_stopped_m=8.0,
        subject_at_m=12.0,
    )
    (gap,) = plan.advised_gaps
    assert gap.near_m < 12 < gap.far_m
    (bridge,) = plan.bridges
    (frame,) = bridge.frames
    assert 4 < frame.f_number <= 16
    assert f"f/{frame.f_number:g} focused at" in sentence(plan, "The mid-ground gap")


def test_a_focus_pair_may_be_given_either_way_round() -> None:
    given = {"wide_f_number": 4.0, "stopped_f_number": 4.0, "subject_at_m": 12.0}
    one = plan_for(**given, focus_wide_m=20.0, focus_stopped_m=8.0)
    other = plan_for(**given, focus_wide_m=8.0, focus_stopped_m=20.0)
    assert one.advised == other.advised
    assert other.advised[0].role == "background"
    assert other.advised[0].focus_distance_m == 20


def test_a_subject_in_the_gap_is_told() -> None:
    plan = plan_for(
        wide_f_number=2.8,
        stopped_f_number=2.8,
        focus_wide_m=20.0,
        focus_stopped_m=5.0,
        subject_at_m=8.0,
    )
    sentence(plan, "The subject at 8.00 m itself lies in this gap")
    assert "5.0 steps less light" in sentence(plan, "A bridge frame at f/16")


def test_nothing_in_front_and_one_focus_needs_one_frame() -> None:
    plan = plan_for(subject_at_m=4.0)
    assert plan.one_frame.verdict == "enough"
    assert plan.advised[0].exposure == (2.0, 4.0)
    assert plan.parallax_px_per_mm is None


def test_background_softness_and_size_are_two_sentences() -> None:
    plan = plan_for(**ORCHARD)
    assert "7.0 % of the frame height" in sentence(plan, "How soft")
    assert "3.61 m wide" in sentence(plan, "How big")


def test_crop_or_zoom_has_the_crop_sharper() -> None:
    """85 mm cropped to 135 mm's framing: disc times the enlargement, by hand."""
    disc = float(blur_disc_mm(14, focal_length_mm=85, f_number=2, focus_distance_m=4))
    share = disc * (135 / 3865) / (85 / 3915) / 24
    told = sentence(plan_for(**ORCHARD), "Crop or zoom")
    assert f"discs of {100 * share:.1f} % of the frame height instead of 7.0 %" in told


def test_veil_reaches_half_a_disc_beyond_an_edge() -> None:
    plan = plan_for(**ORCHARD)
    disc_px = plan.frames[0].blur_disc_px.foreground
    assert disc_px is not None
    assert f"spreads {disc_px / 2:.0f} px beyond every edge" in sentence(plan, "The veil")


def test_exposure_is_told_in_marks() -> None:
    plan = plan_for(**ORCHARD, exposure_time_s=1 / 250, iso=200.0)
    told = sentence(plan, "Exposure")
    assert "1/250 s becomes 1/4 s" in told
    assert "ISO 200 becomes ISO 12800" in told


def test_sway_tells_the_shutter_time_for_one_pixel() -> None:
    """5 mm/s at 4 m: magnification 135/3865 and pixels of 6 um give 34 ms."""
    plan = plan_for(**ORCHARD, sway_mm_s=5.0, exposure_time_s=1 / 500)
    assert plan.sway is not None
    assert plan.sway.subject_s == pytest.approx(0.006 / (135 / 3865 * 5), rel=1e-9)
    assert plan.sway.foreground_s == pytest.approx(plan.sway.subject_s * 2.2 / 4, rel=1e-9)
    assert "stay at 1/60 s or shorter" in sentence(plan, "Sway")
    assert "too long" in plan.advice[-1]


def test_print_sets_the_standard() -> None:
    near = plan_for(**ORCHARD, print_cm=(60.0, 40.0), viewing_cm=25.0)
    far = plan_for(**ORCHARD, print_cm=(60.0, 40.0), viewing_cm=100.0)
    assert far.scene.circle_of_confusion_mm == pytest.approx(4 * near.scene.circle_of_confusion_mm)
    assert len(far.bracket) < len(near.bracket)


def test_engraved_f_numbers_mean_exact_ones() -> None:
    wide, _ = plan_for(**(ORCHARD | {"wide_f_number": 2.8})).frames
    assert wide.exact_f_number == pytest.approx(math.sqrt(8))


def test_a_picture_held_upright_turns_the_sensor() -> None:
    plan = plan_for(**ORCHARD, pixels=(4000, 6000))
    assert plan.scene.held_mm == (24.0, 36.0)
    assert plan.frames[0].blur_disc_height.background == pytest.approx(0.0468, abs=1e-4)


def test_a_subject_at_the_very_end_of_the_gap_is_told() -> None:
    """Both advised frames are focused at 2.2 m; the gap ends where the subject stands."""
    plan = plan_for(**ORCHARD, focus_wide_m=2.2, focus_stopped_m=4.0)
    assert plan.advised_gaps[0].far_m == 4.0
    sentence(plan, "The subject at 4.00 m itself lies in this gap")


def test_a_subject_at_the_limit_of_the_background_frame_is_sharp_there() -> None:
    """f/2 focused so that its depth begins at the subject: no gap is said to hold it."""
    slope = 2 * 0.04 / 135**2  # 1/near = 1/s + slope (1 - f/s), solved for s
    focus_m = 0.001 * (1 - slope * 135) / (1 / 4000 - slope)
    plan = plan_for(**ORCHARD, coc_mm=0.04, focus_wide_m=focus_m)
    assert plan.advised_gaps[0].far_m == pytest.approx(4.0, rel=1e-12)
    assert not any("itself lies" in line or "blurs the subject" in line for line in plan.advice)


def test_a_sitter_soft_in_the_frame_the_merge_takes_her_from_is_told() -> None:
    """Disc of 4 m with focus at 6 m: 67.5 mm x 135/5865 x 2/4 = 0.777 mm, 129.5 px of 6 um."""
    given = {"foreground_at_m": 3.7, "subject_at_m": 4.0, "background_at_m": 14.0}
    told = sentence(plan_for(**given, focus_wide_m=6.0), "The background frame blurs the subject")
    assert "by 0.78 mm (129 px)" in told
    assert told.endswith("(--focus-wide), or paint the sitter as foreground.")
    assert not any("blurs the subject" in line for line in plan_for(**given).advice)


def test_painting_is_no_way_out_where_no_frame_is_sharp_on_the_sitter() -> None:
    plan = plan_for(**ORCHARD, focus_wide_m=2.2, focus_stopped_m=4.0)
    assert sentence(plan, "The background frame blurs the subject").endswith("(--focus-wide).")
    pair = {"stopped_f_number": 2.0, "focus_wide_m": 20.0, "focus_stopped_m": 5.0}
    told = sentence(plan_for(**pair, subject_at_m=8.0), "The background frame blurs the subject")
    assert told.endswith("focus it on the sitter.")


def test_a_focus_that_was_given_stays_where_there_is_no_foreground_to_hold() -> None:
    plan = plan_for(subject_at_m=4.0, background_at_m=14.0, focus_stopped_m=14.0)
    assert [tuple(frame.exposure) for frame in plan.advised] == [(2.0, 4.0), (16.0, 14.0)]
    assert not any("efocus the foreground" in line for line in plan.advice)
    gap = plan.advised_gaps[0]
    near = depth_of_field(4, focal_length_mm=135, f_number=2, coc_mm=0.02884).far_m
    far = depth_of_field(14, focal_length_mm=135, f_number=16, coc_mm=0.02884).near_m
    assert gap == pytest.approx((float(near), float(far)), rel=1e-4)


EXCHANGED = {**ORCHARD, "focus_wide_m": 2.2, "focus_stopped_m": 4.0}


def test_focus_distances_the_wrong_way_round_are_told() -> None:
    told = sentence(plan_for(**EXCHANGED), "The stopped frame is the foreground frame")
    assert "focus it at 4.00 m, behind the wide one at 2.20 m" in told
    assert "(--focus-wide 4m --focus-stopped 2.2m)" in told
    for right in (ORCHARD, {**ORCHARD, "focus_wide_m": 4.0, "focus_stopped_m": 2.2}):
        assert not any("behind the wide one" in line for line in plan_for(**right).advice)
    one_f_number = {"stopped_f_number": 2.0, "focus_wide_m": 2.2, "focus_stopped_m": 4.0}
    assert not any("wide one" in line for line in plan_for(**ORCHARD, **one_f_number).advice)


def test_no_room_and_no_veil_where_there_is_none() -> None:
    """Both advised frames are focused on the foreground: the picture keeps its size."""
    plan = plan_for(**EXCHANGED)
    assert "Refocus the foreground frame to 2.20 m." in plan.advice
    assert not any(line.startswith("The veil") for line in plan.advice)
    # image distances 135/(1 - 0.135/s): at 2.2 m 143.83 mm, at 4 m 139.72 mm, so 2.9 %
    told = sentence(plan_for(**ORCHARD), "Refocus the foreground frame to 2.20 m")
    assert "enlarges its picture by 2.9 %, so leave some room" in told


FOCUS_PAIR = {**ORCHARD, "wide_f_number": 2.8, "stopped_f_number": 2.8}


def test_a_focus_pair_is_not_told_about_stopping_down() -> None:
    """Disc at 2.2 m with focus at 2.5 m: 135/2.828 x 135/2365 x 0.3/2.2 = 0.3715 mm."""
    advice = plan_for(**FOCUS_PAIR, focus_stopped_m=2.5).advice
    (told,) = (line for line in advice if "does not hold the foreground" in line)
    assert told.startswith("f/2.8 focused at 2.50 m does not hold the foreground at 2.20 m: it has")
    assert "a blur disc of 0.37 mm (62 px), 12.9 times" in told
    assert not any("Stopping down alone" in line for line in advice)


def test_a_frame_that_was_refocused_is_not_told_that_it_needs_none() -> None:
    for given in (FOCUS_PAIR, ORCHARD):
        advice = plan_for(**given, focus_stopped_m=2.2).advice
        (told,) = (line for line in advice if line.startswith("Refocused as you plan"))
        assert "focused at 2.20 m makes the foreground at 2.20 m sharp" in told
        assert not any("No refocusing needed" in line for line in advice)


def test_a_depth_of_millimetres_is_told() -> None:
    """About 2 N c s (s - f)/f^2 = 2 x 2.828 x 0.02884 x 2000 x 1700/90000 = 6.2 mm at 2 m."""
    plan = plan_for(
        focal_length_mm=300.0,
        wide_f_number=2.8,
        foreground_at_m=1.6,
        subject_at_m=2.0,
        background_at_m=8.0,
    )
    assert "focused at 2.00 m (sharp 1.997 to 2.003 m)" in sentence(plan, "Take a pair")
    numbers = " ".join(plan_text(plan).split())
    assert "sharp from 1.997 m" in numbers
    assert "to 2.003 m" in numbers
    assert "1.997 m 2.003 m 6.2 mm" in " ".join(table_text(plan).split())
    card = card_html(plan).replace("\N{NO-BREAK SPACE}", " ")
    assert "<td>1.997 to 2.003 m</td>" in card


@pytest.mark.parametrize(
    ("near_m", "far_m", "told"),
    [
        (2.09, 2.32, "2.09 to 2.32 m"),
        (250.3, 250.9, "250.3 to 250.9 m"),
        (1.9998, 2.0002, "1.9998 to 2.0002 m"),
        (2.0, 2.00001, "2.0000 to 2.0000 m"),
        (4.0, 4.0, "4.00 to 4.00 m"),
        (0.98, 1.04, "0.980 to 1.04 m"),
    ],
)
def test_a_span_has_as_many_digits_as_tell_its_ends_apart(
    near_m: float, far_m: float, told: str
) -> None:
    assert wording.span(near_m, far_m) == told


def test_crop_or_zoom_compares_what_how_soft_tells() -> None:
    for given in (ORCHARD, {**ORCHARD, "wide_f_number": 2.8, "stopped_f_number": 11.0}):
        plan = plan_for(**given)
        softness = sentence(plan, "How soft").split(" gives ")[1].split("px, ")[1].split(" of")[0]
        assert f"instead of {softness};" in sentence(plan, "Crop or zoom")


def test_crop_or_zoom_is_left_out_where_the_frame_is_not_focused_on_the_subject() -> None:
    gate = {"foreground_at_m": 3.0, "subject_at_m": 4.0, "background_at_m": 4.2}
    one = plan_for(**gate, focal_length_mm=85.0)
    assert one.advised[0].exposure.f_number == 11
    for plan in (one, plan_for(**ORCHARD, focus_wide_m=6.0)):
        assert not any(line.startswith("Crop or zoom") for line in plan.advice)


def test_large_factors_are_numbers_that_a_photographer_reads() -> None:
    """From f/1.4 to f/45 ten steps are 1024 times, and (1.06538/1.03493)^2 for 2.2 m against 4 m.

    1/64 s x 64 x 1.0597 is 1.0597 s, too long for 200 mm/s.
    """
    told = " ".join(plan_for(**ORCHARD, wide_f_number=1.4, stopped_f_number=45.0).advice)
    assert "1090 times the shutter time" in told
    swaying = plan_for(**ORCHARD, sway_mm_s=200.0, exposure_time_s=1 / 60)
    # 0.006 mm over the foreground's scale 139.72/2200 and 200 mm/s: 0.4724 ms
    assert "1 s at f/16 is 2240 times too long" in swaying.advice[-1]
    shaken = plan_for(**ORCHARD, sway_mm_s=1e5, exposure_time_s=30.0, stopped_f_number=128.0)
    assert not any(re.search(r"\de[+-]?\d", line) for line in shaken.advice)


def test_no_exposure_is_told_where_the_f_numbers_are_as_good_as_one() -> None:
    """From f/2 to f/2.02 it is 0.03 steps."""
    plan = plan_for(**ORCHARD, stopped_f_number=2.02)
    assert not any(line.startswith("Exposure") for line in plan.advice)
    sentence(plan_for(**ORCHARD, stopped_f_number=2.2), "Exposure")


def test_a_square_picture_covers_a_square_of_the_sensor() -> None:
    """4000x4000 px of 6 um are 24 x 24 mm, so width is what height is: 24/36 of 1.0307 m."""
    plan = plan_for(**ORCHARD, pixels=(4000, 4000))
    assert plan.scene.pixel_pitch_mm == pytest.approx(0.006)
    assert plan.scene.held_mm == pytest.approx((24.0, 24.0))
    assert plan.framing.subject_m == pytest.approx((0.6871, 0.6871), abs=1e-4)
    assert plan.framing.background_m == pytest.approx((2.405, 2.405), abs=1e-3)
    assert plan.framing.field_of_view_deg[:2] == pytest.approx((9.82, 9.82), abs=0.01)
    assert "a strip 2.40 m wide" in sentence(plan, "How big")
    assert "Sensor 36 x 24 mm, 24 x 24 mm of it in the picture" in plan_text(plan)
    assert "of it in the picture" not in plan_text(plan_for(**ORCHARD, pixels=(6016, 4016)))


def test_a_print_of_a_square_picture_is_enlarged_from_its_square() -> None:
    """40 cm from 24 mm are 16.67 times, 0.2 mm at 25 cm so 0.4 mm at 50 cm: 0.024 mm.

    60 x 60 cm are 25 times: 0.016 mm.  A picture of 6000x3000 px covers 36 x 18 mm, so 40 cm of
    its height are 22.2 times: 0.018 mm.
    """
    for pixels, print_cm, coc_mm in (
        ((4000, 4000), (40.0, 40.0), 0.024),
        ((4000, 4000), (60.0, 60.0), 0.016),
        ((6000, 3000), (60.0, 40.0), 0.018),
    ):
        scene = plan_for(**ORCHARD, pixels=pixels, print_cm=print_cm).scene
        assert scene.circle_of_confusion_mm == pytest.approx(coc_mm)


@pytest.mark.parametrize(
    ("near_m", "past"), [(1.0, True), (1.48, True), (1.55, True), (1.7, False)]
)
def test_nobody_walks_past_the_foreground(near_m: float, *, past: bool) -> None:
    """85 mm at the scale 135/3865 of 135 mm at 4 m: 85 x (1 + 3865/135) = 2518.5 mm, 1.48 m nearer.

    A bough at 1.55 m is then 69 mm from the lens, inside the focal length.
    """
    plan = plan_for(foreground_at_m=near_m, subject_at_m=4.0, background_at_m=14.0)
    told = sentence(plan, "Crop or zoom")
    passing = "walking up to 2.52 m with it would take the camera past the foreground."
    assert told.endswith(passing) is past
    assert ("keeps the subject's size" in told) is not past


def test_a_background_that_one_frame_makes_softer_is_not_said_to_look_the_same() -> None:
    """35 mm at f/5.6 and 3 m: 35/5.657 x 35/2965 x 1.2/4.2 = 0.0209 mm, 0.087 % of 24 mm.

    At f/20 and 1.263 m, where it holds all: 35/20.16 x 35/1228 x 2.937/4.2 = 0.0346 mm, 0.144 %.
    """
    plan = plan_for(
        focal_length_mm=35.0,
        wide_f_number=5.6,
        foreground_at_m=0.8,
        subject_at_m=3.0,
        background_at_m=4.2,
    )
    assert plan.one_frame.verdict == "enough"
    assert plan.advice[0].endswith(
        ", and the background is no less soft: its blur disc of 0.14 % of the frame height is"
        " larger than the 0.09 % that f/5.6 gives."
    )


def test_more_bridge_frames_than_a_batch_finds_are_told_to_be_listed() -> None:
    told = "A batch finds 3 of them by itself; add the others to the bridges in its list."
    assert LISTED_BRIDGES == _MOST_BRIDGES
    (bridge,) = plan_for(**ORCHARD).bridges
    assert len(bridge.frames) == 4
    assert told in sentence(plan_for(**ORCHARD), "The mid-ground gap")
    fewer = plan_for(**ORCHARD | {"foreground_at_m": 2.6})
    assert 1 < len(fewer.bridges[0].frames) <= 3
    assert told not in sentence(fewer, "The mid-ground gap")


def test_the_text_tells_that_a_merge_is_stricter_than_the_convention() -> None:
    """A print of 60 x 40 cm enlarges 36 x 24 mm by 16.7; from 50 cm 0.4 mm are just visible."""
    text = " ".join(plan_text(plan_for(**ORCHARD)).split())
    assert "seen from 50 cm, 0.024 mm; --print 60x40 plans for that." in text
    assert "stricter" not in plan_text(plan_for(**ORCHARD, print_cm=(90.0, 60.0)))
    assert "stricter" not in plan_text(plan_for(**ORCHARD, coc_mm=0.02))
    square = " ".join(plan_text(plan_for(**ORCHARD, pixels=(4000, 4000))).split())
    assert "seen from 50 cm, 0.016 mm" in square, "24 x 24 mm, enlarged by 25"


@pytest.mark.parametrize("f_number", [0.95, 1.25])
def test_a_lens_keeps_the_f_number_that_is_engraved_on_it(f_number: float) -> None:
    plan = plan_for(**ORCHARD, wide_f_number=f_number)
    assert f"background frame f/{f_number} focused at 4.00 m" in sentence(plan, "Take a pair")
    named = set(re.findall(r"f/[\d.]*\d", plan_text(plan) + table_text(plan) + card_html(plan)))
    assert f"f/{f_number}" in named
    assert not {"f/0.9", "f/1", "f/1.2", "f/1.3"} & named
