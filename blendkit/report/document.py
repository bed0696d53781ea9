"""The report of a merge, "blendkit.report/1": plain data that other programs read.

Every key is always there; what is not known is null.
"""

from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

import numpy as np

from blendkit import __version__
from blendkit.alignment import Alignment, Light, Motion
from blendkit.filters.robust import weighted_median
from blendkit.frame import Frame, Source
from blendkit.memory import peak_resident_bytes
from blendkit.merge import Merged
from blendkit.midground import Flag
from blendkit.report.asked import USUAL, Asked
from blendkit.report.labels import box_of, numbered
from blendkit.report.plain import Document, as_document
from blendkit.settings import MergeSettings

SCHEMA = "blendkit.report/1"


@dataclass(frozen=True, eq=False, slots=True)
class Input:
    """A file that went into a merge.

    role: "background", "foreground", "bridge", "clear", "foreground-mask", "background-mask",
        "matte" or "strokes".
    frame: what was read from it, None for what is not a frame.
    """

    path: Path
    role: str
    frame: Frame | None = None


@dataclass(frozen=True, slots=True)
class Output:
    """The result's file, and what was asked for besides the inputs.

    sitter: box [x, y, width, height] of the sitter, px; None = nobody was seen.
    """

    path: Path
    width: int
    height: int
    bits: int
    asked: Asked = USUAL
    sitter: list[int] | None = None


def report_document(
    merged: Merged,
    *,
    inputs: Sequence[Input],
    output: Output | None,
    repairs: Sequence[Mapping[str, Any]] = (),
    time_s: Mapping[str, float] | None = None,
) -> Document:
    """Return the report of a merge.

    Parameters
    ----------
    merged : Merged
    inputs : every file that went in.
    output : the result's file; None if none was written.
    repairs : what was tried against flags, each with the keys of the contract.
    time_s : seconds of stages outside the merge, such as "read", put before its own.

    Returns
    -------
    dict : of numbers, strings, lists and dicts only; NaN and infinity became None.
    """
    return as_document(
        {
            **_head(inputs),
            "alignment": _alignment(merged),
            "light": _light(merged.light),
            "foreground": _foreground(merged),
            "flags": [_flag(number, flag) for number, flag in numbered(merged.flags)],
            "repairs": list(repairs),
            "sources": _sources(merged),
            "output": None if output is None else _output(output),
            "settings": asdict(merged.settings),
            "time_s": {**(time_s or {}), **merged.time_s},
            "peak_memory_bytes": peak_resident_bytes(),
        }
    )


def refusal_document(
    reason: str,
    *,
    advice: str = "",
    inputs: Sequence[Input],
    settings: MergeSettings,
    time_s: Mapping[str, float] | None = None,
) -> Document:
    """Return the report of a pair that could not be aligned: its one flag says why.

    reason, advice: why, and what to try; advice may be empty where the reason says.
    """
    width, height = next(item.frame.size for item in inputs if item.frame is not None)
    flag = {
        "id": 1,
        "kind": "not-aligned",
        "severity": "fail",
        "box": [0, 0, width, height],
        "area_px": width * height,
        "message": reason,
        "advice": advice or "check that both frames show the same scene",
    }
    return as_document(
        {
            **_head(inputs),
            "alignment": None,
            "light": None,
            "foreground": None,
            "flags": [flag],
            "repairs": [],
            "sources": {},
            "output": None,
            "settings": asdict(settings),
            "time_s": dict(time_s or {}),
            "peak_memory_bytes": peak_resident_bytes(),
        }
    )


def _head(inputs: Sequence[Input]) -> Document:
    return {
        "schema": SCHEMA,
        "version": __version__,
        "inputs": [_input(item) for item in inputs],
    }


def _output(output: Output) -> Document:
    return asdict(output) | {"path": Path(output.path).absolute()}


def _input(item: Input) -> Document:
    frame = item.frame
    capture = None if frame is None else frame.capture
    recorded = ("f_number", "exposure_time_s", "iso", "focal_length_mm", "focus_distance_m")
    return {
        # Absolute: who reads it may work in another folder, with other frames of these names.
        "path": Path(item.path).absolute(),
        "role": item.role,
        "width": None if frame is None else frame.size[0],
        "height": None if frame is None else frame.size[1],
        **{name: getattr(capture, name, None) for name in recorded},
    }


def _alignment(merged: Merged) -> Document:
    found: Alignment = merged.alignment
    return {
        "model": found.model,
        "matrix": found.matrix,
        "residual_px": found.residual_px,
        "uncertainty_px": found.uncertainty_px,
        "confidence": found.confidence,
        "overlap": box_of(merged.covered),
        "sway_px": _length(found.sway_px),
        "parallax_px": _length(found.parallax_px),
        "background_moved": _background_moved(found),
    }


def _length(motion: Motion | None) -> float | None:
    return None if motion is None else motion.length_px


def _background_moved(found: Alignment) -> Document:
    """Tell how the background moved against the zone in focus, and what that may mean."""
    motion = found.behind
    if motion is None:
        return {
            "shift_px": None,
            "uncertainty_px": None,
            "meaning": "the background is too soft or too bare to measure its own motion",
        }
    meaning = (
        "the sitter swayed or the camera moved: two frames cannot tell which"
        if found.sway_px is None
        else "neither the sitter nor the camera moved, within the uncertainty"
    )
    return {
        "shift_px": [motion.x_px, motion.y_px],
        "uncertainty_px": motion.uncertainty_px,
        "meaning": meaning,
    }


def _light(light: Light) -> Document:
    return {
        "gain_ev": light.gain_ev,
        "falloff_ev_corner": light.falloff_ev_corner,
        "residual_ev": light.residual_ev,
        "flare": light.flare,
        "tone": light.tone,
    }


def _foreground(merged: Merged) -> Document:
    alpha = merged.matte.alpha
    background, _, foreground = merged.noise
    return {
        "coverage": float(alpha.mean()),
        "blur_disc_px": _discs(merged),
        "shift_px": [list(group.shift_px) for group in merged.groups],
        "rim_cut": max((group.rim.share for group in merged.groups), default=0.0),
        "noise_ratio": foreground.at_middle_grey / max(background.at_middle_grey, 1e-12),
    }


def _discs(merged: Merged) -> list[float] | None:
    """Return [smallest, median, largest] disc of the groups, the median by area."""
    if not merged.groups:
        return None
    discs = np.array([group.disc_px for group in merged.groups])
    area = np.array([float((group.share * merged.matte.alpha).sum()) for group in merged.groups])
    return [float(discs.min()), weighted_median(discs, area), float(discs.max())]


def _flag(number: int, flag: Flag) -> Document:
    return {
        "id": number,
        "kind": flag.kind,
        "severity": flag.severity,
        "box": box_of(flag.region),
        "area_px": int(np.count_nonzero(flag.region)),
        "message": flag.message,
        "advice": flag.advice,
    }


def _sources(merged: Merged) -> Document:
    counts = np.bincount(merged.sources.ravel(), minlength=max(Source) + 1)
    return {
        source_name(source): {
            "value": int(source),
            "share": float(counts[source] / merged.sources.size),
        }
        for source in Source
    }


def source_name(source: Source) -> str:
    """Return a source's name in reports, such as "plate-divided"."""
    return source.name.lower().replace("_", "-")
