"""JSON from other hands: painted strokes from an editor on another system."""

import json
from pathlib import Path

from blendkit.masks.strokes import Stroke, strokes_document
from blendkit.report.inputs import read_strokes

SIZE = (96, 64)


def test_strokes_that_begin_with_a_byte_order_mark_are_read(tmp_path: Path) -> None:
    strokes = (Stroke(((2.0, 2.0), (9.0, 6.0)), 9.0, "foreground"),)
    text = json.dumps(strokes_document(strokes, SIZE))
    (tmp_path / "s.json").write_text(text, encoding="utf-8-sig")
    assert read_strokes(tmp_path / "s.json", SIZE) == strokes
