"""The report: every key of the contract, and numbers that agree with the arrays."""

import json
import math
import subprocess
import sys
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
import pytest

from blendkit.frame import Source
from blendkit.report.document import (
    Input,
    Output,
    refusal_document,
    report_document,
)
from blendkit.report.labels import numbered
from blendkit.report.plain import plain
from blendkit.settings import MergeSettings

if TYPE_CHECKING:
    from tests.report.conftest import Case

KEYS = {
    "": "schema version inputs alignment light foreground flags repairs sources output settings "
    "time_s peak_memory_bytes",
    "inputs": "path role width height f_number exposure_time_s iso focal_length_mm "
    "focus_distance_m",
    "alignment": "model matrix residual_px confidence overlap sway_px parallax_px "
    "uncertainty_px background_moved",
    "light": "gain_ev falloff_ev_corner residual_ev flare tone",
    "foreground": "coverage blur_disc_px noise_ratio shift_px rim_cut",
    "flags": "id kind severity box area_px message advice",
    "output": "path width height bits asked sitter",
}


@pytest.fixture
def document(case: "Case") -> dict[str, Any]:
    width, height = case.pair.background.size
    output = Output(Path("gate.tif"), width, height, 16)
    return report_document(
        case.merged, inputs=case.pair.inputs, output=output, time_s={"read": 0.5}
    )


def test_all_keys_of_the_contract_and_no_others(document: dict[str, Any]) -> None:
    assert set(document) == set(KEYS[""].split())
    for name in ("alignment", "light", "foreground", "output"):
        assert set(document[name]) == set(KEYS[name].split())
    for name in ("inputs", "flags"):
        assert document[name]
        for item in document[name]:
            assert set(item) == set(KEYS[name].split())


def test_it_is_json_that_strict_readers_take(document: dict[str, Any]) -> None:
    text = json.dumps(document, allow_nan=False)
    assert json.loads(text) == document
    assert document["schema"] == "blendkit.report/1"


def test_inputs_say_what_the_camera_recorded(document: dict[str, Any]) -> None:
    first, second, matte = document["inputs"]
    assert [item["role"] for item in (first, second, matte)] == [
        "background",
        "foreground",
        "matte",
    ]
    assert (first["f_number"], second["f_number"]) == (2.8, 16.0)
    assert (first["width"], first["height"]) == (480, 320)
    assert first["focal_length_mm"] == second["focal_length_mm"] == 135.0
    assert matte["f_number"] is None


def test_numbers_agree_with_the_arrays(document: dict[str, Any], case: "Case") -> None:
    merged = case.merged
    assert np.allclose(document["alignment"]["matrix"], merged.alignment.matrix, rtol=1e-8)
    assert document["foreground"]["coverage"] == pytest.approx(float(merged.matte.alpha.mean()))
    least, median, most = document["foreground"]["blur_disc_px"]
    assert least <= median <= most
    # the simulated boughs have a disc of 28 px (70 px at 800 px height); measured 31.7
    assert 22 < median < 36
    x, y, width, height = document["alignment"]["overlap"]
    assert merged.covered[y : y + height, x : x + width].sum() == merged.covered.sum()
    assert document["time_s"]["read"] == 0.5
    assert set(merged.time_s) < set(document["time_s"])


def test_flags_are_numbered_and_placed(document: dict[str, Any], case: "Case") -> None:
    flags = numbered(case.merged.flags)
    assert [item["id"] for item in document["flags"]] == list(range(1, len(flags) + 1))
    for item, (_, flag) in zip(document["flags"], flags, strict=True):
        assert item["area_px"] == int(flag.region.sum())
        assert item["severity"] in ("note", "warn", "fail")


def test_sources_are_all_named_and_share_the_whole(document: dict[str, Any], case: "Case") -> None:
    sources = document["sources"]
    assert {entry["value"] for entry in sources.values()} == {int(source) for source in Source}
    assert sum(entry["share"] for entry in sources.values()) == pytest.approx(1, abs=1e-6)
    for name, entry in sources.items():
        share = float(np.mean(case.merged.sources == entry["value"]))
        assert entry["share"] == pytest.approx(share, abs=1e-8), name


def test_settings_are_those_of_the_merge(document: dict[str, Any]) -> None:
    assert document["settings"]["viewing"]["print_width_cm"] == 60.0
    assert document["settings"]["discs"]["disc_px"] is None


def test_peak_memory_counts_what_is_held() -> None:
    """A process of its own tells what it holds itself, however much the one that started it."""
    program = (
        "import numpy as np; from blendkit.memory import peak_resident_bytes as peak;"
        "before = peak(); held = np.ones(40_000_000, np.float32); print(peak() - before)"
    )
    more = int(
        subprocess.run(
            [sys.executable, "-c", program], capture_output=True, text=True, check=True
        ).stdout
    )
    assert 0.9 * 160e6 < more < 1.5 * 160e6


def test_a_refused_pair_says_why_in_its_one_flag(case: "Case") -> None:
    reason, advice = "the frames do not lie on each other (confidence 0.02): no match", "tie points"
    inputs = [Input(Path("a.tif"), "background", case.pair.background)]
    document = refusal_document(reason, advice=advice, inputs=inputs, settings=MergeSettings())
    assert set(document) == set(KEYS[""].split())
    assert document["alignment"] is document["output"] is None
    (flag,) = document["flags"]
    assert flag["kind"] == "not-aligned"
    assert flag["severity"] == "fail"
    assert flag["box"] == [0, 0, 480, 320]
    assert (flag["message"], flag["advice"]) == (reason, advice)


@pytest.mark.parametrize("bad", [math.nan, math.inf, -math.inf, np.float32("nan")])
def test_what_json_cannot_hold_becomes_null(bad: float) -> None:
    assert plain({"a": [bad, {"b": bad}]}) == {"a": [None, {"b": None}]}


def test_files_are_named_so_that_any_folder_finds_them(document: dict[str, Any]) -> None:
    paths = [Path(item["path"]) for item in document["inputs"]]
    assert all(path.is_absolute() for path in paths)
    assert all(path.is_file() for path in paths)
    assert Path(document["output"]["path"]) == Path.cwd() / "gate.tif"
