"""A plan as the document "blendkit.plan/1"; infinity is null."""

import math
from dataclasses import asdict
from typing import Any

from blendkit.plan.light import light_at
from blendkit.plan.records import Exposure, FramePlan, Interval, Plan
from blendkit.plan.table import table_rows

SCHEMA = "blendkit.plan/1"


def plan_document(plan: Plan) -> dict[str, Any]:
    """Return a plan as plain dictionaries, lists and numbers, ready for a JSON encoder."""
    single = plan.one_frame
    return {
        "schema": SCHEMA,
        "scene": _finite(asdict(plan.scene)),
        "frames": [_frame(frame) for frame in plan.frames],
        "circle_of_confusion_mm": plan.scene.circle_of_confusion_mm,
        "pixel_pitch_mm": plan.scene.pixel_pitch_mm,
        "field_of_view_deg": dict(
            zip(("width", "height", "diagonal"), plan.framing.field_of_view_deg, strict=True)
        ),
        "covered_m": {
            "subject": _finite(list(plan.framing.subject_m)),
            "background": _finite(list(plan.framing.background_m)),
        },
        "exposure_steps": plan.exposure_steps,
        "exposure": _exposure_change(plan),
        "parallax_px_per_mm": plan.parallax_px_per_mm,
        "diffraction_f_number": asdict(plan.limits),
        "sway_shutter_s": None if plan.sway is None else asdict(plan.sway),
        "gaps": [_interval(gap) for gap in plan.gaps],
        "one_frame": {
            "verdict": single.verdict,
            "f_number": single.f_number,
            "exact_f_number": single.exact_f_number,
            "focus_distance_m": single.focus_distance_m,
        },
        "advised": {
            "frames": [_frame(one) | _needed(plan, one.exposure) for one in plan.advised],
            "gaps": [_interval(gap) for gap in plan.advised_gaps],
            "bridges": [
                [_exposure(frame) | _needed(plan, frame) for frame in bridge.frames]
                for bridge in plan.bridges
            ],
        },
        "bracket": [_exposure(frame) for frame in plan.bracket],
        "advice": list(plan.advice),
    }


def table_document(plan: Plan) -> list[dict[str, Any]]:
    """Return the table of full stops as a list of frames."""
    return [_frame(frame) for frame in table_rows(plan.scene)]


def _frame(frame: FramePlan) -> dict[str, Any]:
    return {
        "role": frame.role,
        **_exposure(frame.exposure),
        "exact_f_number": frame.exact_f_number,
        **_interval(frame.sharp),
        "hyperfocal_m": frame.hyperfocal_m,
        "airy_disc_mm": frame.airy_disc_mm,
        "blur_disc_mm": frame.blur_disc_mm._asdict(),
        "blur_disc_px": frame.blur_disc_px._asdict(),
        "blur_disc_height": frame.blur_disc_height._asdict(),
    }


def _exposure(frame: Exposure) -> dict[str, Any]:
    return {
        "f_number": frame.f_number,
        "focus_distance_m": _finite(frame.focus_distance_m),
    }


def _interval(interval: Interval) -> dict[str, Any]:
    return {"near_m": interval.near_m, "far_m": _finite(interval.far_m)}


def _exposure_change(plan: Plan) -> dict[str, Any]:
    """Return what keeps the stopped frame as bright as the wide one; None = nothing metered."""
    light = light_at(plan.scene, plan.frames[1].exposure)
    return {
        "factor": light.factor,
        "stopped_exposure_time_s": light.exposure_time_s,
        "stopped_iso": light.iso,
    }


def _needed(plan: Plan, frame: Exposure) -> dict[str, Any]:
    """Return what a frame needs: the time at the metered ISO, or the ISO at the metered time."""
    light = light_at(plan.scene, frame)
    return {
        "exposure": {
            "factor": light.factor,
            "exposure_time_s": light.exposure_time_s,
            "iso": light.iso,
        },
    }


def _finite(value: Any) -> Any:
    """Replace infinity, which JSON does not know, by None, however deep it lies."""
    if isinstance(value, dict):
        return {key: _finite(inner) for key, inner in value.items()}
    if isinstance(value, list | tuple):
        return [_finite(inner) for inner in value]
    return None if isinstance(value, float) and math.isinf(value) else value
