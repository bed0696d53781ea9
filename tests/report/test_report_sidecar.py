"""What a damaged sidecar is told by, and settings at screen size."""

import json
from pathlib import Path
from typing import Any

import pytest

from blendkit.errors import InputError
from blendkit.report.reduced import settings_at
from blendkit.sidecar import SCHEMA, merge_settings, read_sidecar


@pytest.mark.parametrize(
    ("part", "said"),
    [
        ({"settings": {"polish": {}}}, "polish"),
        ({"settings": {"grain": {"match": 1.0}}}, "give true or false"),
        ({"settings": {"grain": {"match": 1}}}, "give true or false"),
        ({"decision": "perhaps"}, "is none of"),
    ],
)
def test_a_sidecar_that_says_what_cannot_be_is_named_with_the_next_step(
    tmp_path: Path, part: dict[str, Any], said: str
) -> None:
    place = tmp_path / "gate.blendkit.json"
    place.write_text(json.dumps({"schema": SCHEMA, **part}))
    with pytest.raises(InputError) as refused:
        read_sidecar(place)
    text = str(refused.value)
    assert place.name in text
    assert said in text
    assert text.endswith("move it away")


def test_a_small_disc_that_is_known_stays_one_at_screen_size() -> None:
    small = settings_at(0.25, merge_settings({"discs": {"disc_px": 3.0}}))
    assert small.discs.disc_px == 1.0, "no disc is less than a pixel"
    wide = settings_at(0.25, merge_settings({"discs": {"disc_px": 100.0}}))
    assert wide.discs.disc_px == 25.0
