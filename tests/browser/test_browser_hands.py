"""Hasty hands on the page: pressed twice, gone on in the middle of a stroke, refused."""

import json
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest

NAMES = ("arbour", "bower", "copse")


@pytest.fixture
def hasty(tmp_path: Path, three: Path, visiting: Callable[..., Any]) -> Iterator[Any]:
    folder = tmp_path / "shoot"
    folder.mkdir()
    for path in three.iterdir():
        (folder / path.name).write_bytes(path.read_bytes())
    with visiting(folder) as visit:
        visit.ready()
        yield visit


def kept(visit: Any, name: str) -> dict[str, Any]:
    path = visit.folder / "results" / f"{name}.blendkit.json"
    return json.loads(path.read_text()) if path.exists() else {"decision": "open"}


def strokes(visit: Any, name: str) -> list[dict[str, Any]]:
    return (kept(visit, name).get("strokes") or {}).get("strokes", [])


def name_at_hand(visit: Any) -> str:
    return str(visit.page.locator("#name").inner_text()).split(" ")[0]


def inked(visit: Any) -> int:
    """Return how many px of the ink's canvas are not empty, the brush away from the picture."""
    visit.page.mouse.move(5, 5)
    visit.page.wait_for_timeout(200)
    return int(
        visit.page.evaluate(
            """() => { const c = document.querySelector("#ink");
              const copy = new OffscreenCanvas(c.width, c.height);
              const pen = copy.getContext("2d", { willReadFrequently: true });
              pen.drawImage(c, 0, 0);
              const d = pen.getImageData(0, 0, c.width, c.height).data;
              let n = 0; for (let i = 3; i < d.length; i += 4) n += d[i] > 0; return n; }"""
        )
    )


def test_a_click_leaves_a_mark_that_is_seen_and_the_right_button_none(hasty: Any) -> None:
    page, first = hasty.page, name_at_hand(hasty)
    page.keyboard.press("b")
    box = page.locator("#stage").bounding_box()
    place = box["x"] + 0.4 * box["width"], box["y"] + 0.5 * box["height"]
    page.mouse.click(*place, button="right")
    page.wait_for_timeout(300)
    assert inked(hasty) == 0
    page.mouse.click(*place)
    hasty.eventually(300, lambda: len(strokes(hasty, first)) == 1)
    assert len(strokes(hasty, first)[0]["points"]) == 1
    assert inked(hasty) > 20


def test_a_stroke_under_way_stays_with_its_pair(hasty: Any) -> None:
    page, first = hasty.page, name_at_hand(hasty)
    page.keyboard.press("b")
    page.keyboard.press("Enter")
    for _ in range(3):
        page.keyboard.press("ArrowLeft")
    page.keyboard.press("n")
    hasty.eventually(300, lambda: name_at_hand(hasty) != first)
    second = name_at_hand(hasty)
    page.keyboard.press("ArrowUp")
    page.keyboard.press("Enter")
    page.keyboard.press("Enter")
    hasty.eventually(300, lambda: bool(strokes(hasty, second)))
    ((own,), (other,)) = strokes(hasty, first), strokes(hasty, second)
    assert len(own["points"]) == 4
    assert len(other["points"]) == 1


def test_a_second_press_decides_no_other_pair(hasty: Any) -> None:
    page, first = hasty.page, name_at_hand(hasty)
    page.keyboard.press("s")
    page.keyboard.press("s")
    hasty.eventually(600, lambda: kept(hasty, first)["decision"] == "sent-back")
    second = name_at_hand(hasty)
    assert second != first
    assert [kept(hasty, name)["decision"] for name in NAMES if name != first] == ["open", "open"]
    page.keyboard.down("k")
    for _ in range(6):
        page.keyboard.down("k")  # held down: the browser repeats it
    page.keyboard.up("k")
    hasty.eventually(600, lambda: kept(hasty, second)["decision"] == "skipped")
    decided = [name for name in NAMES if kept(hasty, name)["decision"] != "open"]
    assert sorted(decided) == sorted([first, second])


def test_what_was_refused_is_not_shown_as_kept(hasty: Any) -> None:
    page, first = hasty.page, name_at_hand(hasty)
    page.keyboard.press("b")
    path = hasty.folder / "results" / f"{first}.blendkit.json"
    path.parent.mkdir(exist_ok=True)
    path.write_text("no JSON")
    box = page.locator("#stage").bounding_box()
    page.mouse.click(box["x"] + 0.4 * box["width"], box["y"] + 0.5 * box["height"])
    page.locator("#notice").wait_for()
    assert path.name in page.locator("#notice").inner_text()
    assert inked(hasty) == 0
    assert path.read_text() == "no JSON"
    hasty.errors.clear()  # the refusal itself, on the console


def test_a_pair_whose_frame_is_gone_says_so_and_is_no_dead_end(hasty: Any) -> None:
    page, first = hasty.page, name_at_hand(hasty)
    lost = hasty.folder / f"{first}-wide.tif"
    kept_at = lost.rename(lost.with_suffix(".away"))
    page.keyboard.press("n")
    hasty.eventually(300, lambda: name_at_hand(hasty) != first)
    page.keyboard.press("p")
    page.locator("#slip", has_text="This pair cannot be shown").wait_for()
    assert lost.name in page.locator("#slip").inner_text()
    assert name_at_hand(hasty) == first
    page.keyboard.press("n")
    hasty.ready()
    kept_at.rename(lost)
    page.keyboard.press("p")
    hasty.eventually(300, lambda: "to decide" in page.locator("#name").inner_text())
    assert name_at_hand(hasty) == first
    hasty.errors.clear()  # the refusal itself, on the console


def test_what_is_typed_stays_while_the_slip_is_made_anew(hasty: Any) -> None:
    page = hasty.page
    page.keyboard.press("b")
    page.locator("#brush-size").fill("")
    page.locator("#brush-size").press_sequentially("1")
    page.locator("#preview-state", has_text="The preview shows all strokes.").wait_for(
        timeout=120_000
    )
    page.keyboard.type("2")
    assert page.locator("#brush-size").input_value() == "12"
