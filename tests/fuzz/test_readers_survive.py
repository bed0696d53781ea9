"""Damaged and random input: only the package's own errors leave a reader, quickly and cheaply."""

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from damaged import (
    PAIRS,
    REPORT,
    SETTINGS,
    SIDECAR,
    SIZE,
    STROKES,
    Tally,
    allowed_bytes,
    kinds,
    refusal,
    survive,
)
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from blendkit.batch.pairs_file import read_pairs, read_settings
from blendkit.cli.repair import read_report
from blendkit.cli.repair_run import given_from
from blendkit.errors import InputError
from blendkit.files import profiles
from blendkit.masks.strokes import rasterise, strokes_from
from blendkit.report.inputs import read_strokes
from blendkit.sidecar import read_sidecar

INPUTS = 1000
QUICK = settings(max_examples=100, deadline=5000)
ON_DISK = settings(
    max_examples=60, deadline=5000, suppress_health_check=[HealthCheck.function_scoped_fixture]
)

plain = (
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=8) | st.just("../x")
)
anything = st.recursive(
    plain,
    lambda inner: (
        st.lists(inner, max_size=4) | st.dictionaries(st.text(max_size=6), inner, max_size=4)
    ),
    max_leaves=12,
)


@pytest.fixture(scope="module")
def tally(tmp_path_factory: pytest.TempPathFactory) -> Tally:
    folder = tmp_path_factory.mktemp("fuzz")
    return survive(kinds(folder), INPUTS, seed=1, folder=folder)


def test_what_damage_starts_from_is_sound(tmp_path: Path) -> None:
    for kind in kinds(tmp_path):
        for data in kind.sound:
            path = tmp_path / f"input{kind.suffix}"
            path.write_bytes(data)
            assert refusal(lambda kind=kind, path=path: kind.read(path)) is None, kind.name


def test_every_reader_survives_a_thousand_damaged_files(tally: Tally) -> None:
    assert tally.outcomes.total() == INPUTS


def test_damage_is_neither_harmless_nor_hopeless(tally: Tally) -> None:
    """Else the run above would say nothing: every kind must be both read and refused."""
    for name in {kind for kind, _ in tally.outcomes}:
        assert tally.outcomes[name, "refused"] > 0, name
        assert tally.outcomes[name, "read"] > 0, name
    assert sum(count for (_, what), count in tally.outcomes.items() if what == "read") > 150


def test_the_bound_on_memory_is_one(tally: Tally) -> None:
    assert 0 < tally.most_of_allowed < 1
    assert allowed_bytes(20_000) < 1 << 30


def one_line(read: Callable[[], object]) -> None:
    """Assert that reading ends well, or with one line."""
    message = refusal(read)
    assert message is None or len(message.splitlines()) == 1, message


def changed(document: dict[str, Any], path: tuple[Any, ...], value: Any) -> dict[str, Any]:
    """Return a copy with one place replaced."""
    copy = json.loads(json.dumps(document))
    inner = copy
    for key in path[:-1]:
        inner = inner[key]
    inner[path[-1]] = value
    return dict(copy)


STROKE_PLACES = [
    ("schema",),
    ("size",),
    ("strokes",),
    ("strokes", 0),
    ("strokes", 0, "points"),
    ("strokes", 0, "points", 0),
    ("strokes", 0, "points", 0, 1),
    ("strokes", 0, "diameter_px"),
    ("strokes", 0, "role"),
]


@QUICK
@given(st.sampled_from(STROKE_PLACES), anything)
def test_strokes_with_anything_anywhere(place: tuple[Any, ...], value: Any) -> None:
    document = changed(STROKES, place, value)
    one_line(lambda: rasterise(strokes_from(document, size=SIZE), SIZE))


SIDECAR_PLACES = [
    *((key,) for key in SIDECAR),
    ("settings", "matte"),
    ("settings", "matte", "hold"),
    ("inputs", "background"),
    ("strokes", "strokes"),
]


@ON_DISK
@given(st.sampled_from(SIDECAR_PLACES), anything)
def test_sidecars_with_anything_anywhere(
    tmp_path: Path, place: tuple[Any, ...], value: Any
) -> None:
    path = tmp_path / "gate.blendkit.json"
    path.write_text(json.dumps(changed(SIDECAR, place, value)))
    one_line(lambda: read_sidecar(path))


REPORT_PLACES = [
    *((key,) for key in REPORT),
    ("output", "path"),
    ("output", "bits"),
    ("inputs", 0),
    ("inputs", 0, "path"),
    ("inputs", 1, "role"),
]


@ON_DISK
@given(st.sampled_from(REPORT_PLACES), anything)
def test_reports_with_anything_anywhere(tmp_path: Path, place: tuple[Any, ...], value: Any) -> None:
    path = tmp_path / "gate.report.json"
    path.write_text(json.dumps(changed(REPORT, place, value)))
    one_line(lambda: given_from(read_report(path)))


@QUICK
@given(st.binary(max_size=600))
def test_random_bytes_as_a_profile(data: bytes) -> None:
    with pytest.raises(InputError):
        profiles.parse(data)


@ON_DISK
@given(st.sampled_from(PAIRS.splitlines() + SETTINGS.splitlines()), st.text(max_size=40))
def test_toml_with_any_line_replaced(tmp_path: Path, line: str, other: str) -> None:
    for text, reader in ((PAIRS, read_pairs), (SETTINGS, read_settings)):
        path = tmp_path / "given.toml"
        path.write_text(text.replace(line, other), encoding="utf-8", errors="replace")
        for name in ("wide.tif", "stopped.tif"):
            (tmp_path / name).touch()
        one_line(lambda reader=reader, path=path: reader(path))


@pytest.mark.parametrize("deep", ['{"strokes":' * 100_000, "[" * 100_000])
def test_json_nested_without_end(tmp_path: Path, deep: str) -> None:
    path = tmp_path / "deep.json"
    path.write_text(deep)
    with pytest.raises(InputError):
        read_strokes(path, SIZE)
    with pytest.raises(InputError):
        read_sidecar(path)


def test_toml_nested_without_end(tmp_path: Path) -> None:
    path = tmp_path / "deep.toml"
    path.write_text("a = " + "[" * 100_000)
    with pytest.raises(InputError):
        read_settings(path)
