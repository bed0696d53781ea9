"""The JSON document: its keys, null for infinity, numbers equal to the plan's."""

import json
from dataclasses import replace

import pytest

from blendkit.plan import Scene, make_plan, plan_document
from blendkit.plan.as_json import table_document

SCENE = Scene(
    focal_length_mm=135, wide_f_number=2, foreground_at_m=2.2, subject_at_m=4, background_at_m=14
)


def test_document_has_the_keys_that_programs_rely_on() -> None:
    document = plan_document(make_plan(SCENE))
    assert document["schema"] == "blendkit.plan/1"
    promised = {
        *("schema", "frames", "circle_of_confusion_mm", "field_of_view_deg", "covered_m"),
        *("exposure_steps", "parallax_px_per_mm", "gaps", "bracket", "advice"),
    }
    assert promised <= document.keys()
    frame_keys = {
        *("f_number", "focus_distance_m", "near_m", "far_m", "hyperfocal_m", "airy_disc_mm"),
        *("blur_disc_mm", "blur_disc_px"),
    }
    for frame in document["frames"]:
        assert frame_keys <= frame.keys()
        assert frame["blur_disc_mm"].keys() == {"foreground", "subject", "background"}
    assert document["field_of_view_deg"].keys() == {"width", "height", "diagonal"}
    assert document["covered_m"].keys() == {"subject", "background"}
    assert all(gap.keys() == {"near_m", "far_m"} for gap in document["gaps"])
    assert all(frame.keys() == {"f_number", "focus_distance_m"} for frame in document["bracket"])


def test_document_survives_json_and_keeps_its_numbers() -> None:
    plan = make_plan(SCENE)
    document = json.loads(json.dumps(plan_document(plan), allow_nan=False))
    assert document["frames"][0]["near_m"] == plan.frames[0].sharp.near_m
    assert document["frames"][1]["blur_disc_mm"]["foreground"] == pytest.approx(0.2412, abs=1e-4)
    assert document["advice"] == list(plan.advice)
    assert document["scene"]["focal_length_mm"] == 135


def test_document_tells_the_exposure_that_keeps_the_frames_equal() -> None:
    unmetered = plan_document(make_plan(SCENE))["exposure"]
    assert unmetered == {"factor": 64, "stopped_exposure_time_s": None, "stopped_iso": None}
    metered = plan_document(make_plan(replace(SCENE, exposure_time_s=1 / 500, iso=100)))["exposure"]
    assert metered == {"factor": 64, "stopped_exposure_time_s": 1 / 8, "stopped_iso": 6400}


def test_infinity_is_null() -> None:
    scene = Scene(
        focal_length_mm=35,
        wide_f_number=8,
        subject_at_m=6,
        foreground_at_m=1,
        focus_wide_m=float("inf"),
    )
    document = plan_document(make_plan(scene))
    text = json.dumps(document, allow_nan=False)
    assert document["frames"][0]["far_m"] is None
    assert document["frames"][0]["focus_distance_m"] is None
    assert document["covered_m"]["background"] == [None, None]
    assert "Infinity" not in text


def test_table_has_full_stops_and_depth_grows_down_it() -> None:
    rows = table_document(make_plan(SCENE))
    assert [row["f_number"] for row in rows] == [2, 2.8, 4, 5.6, 8, 11, 16, 22]
    depths = [row["far_m"] - row["near_m"] for row in rows]
    assert depths == sorted(depths)
    discs = [row["blur_disc_mm"]["background"] for row in rows]
    assert discs == sorted(discs, reverse=True)
