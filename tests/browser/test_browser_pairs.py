"""From one pair to another and back, in a real browser: nothing of the former stays behind."""

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

# No pixel of the ink's canvas is painted, nor any pin drawn.
CLEAN = """() => {
  const ink = document.querySelector("#ink");
  const copy = new OffscreenCanvas(ink.width, ink.height);
  const pen = copy.getContext("2d", { willReadFrequently: true });
  pen.drawImage(ink, 0, 0);
  return pen.getImageData(0, 0, ink.width, ink.height).data.every((one) => one === 0);
}"""


@pytest.fixture
def shoot(copied_pairs: Callable[..., Path], write_finding: Any) -> Path:
    """Return a folder with "loud", which has a finding, and two pairs that were never merged."""
    folder = copied_pairs("calm", "loud", "lost")
    write_finding(folder, "loud")
    return folder


@pytest.fixture
def shown(visit: Any) -> Any:
    """Open the page without previews, for which nobody here waits."""
    nothing = {"revision": 0, "pictures": []}
    visit.page.route("**/preview", lambda route: route.fulfill(json=nothing))
    return visit


def go_to(visit: Any, name: str) -> None:
    """Go on from pair to pair until one is at hand."""
    title = visit.page.locator("#name")
    for _ in range(3):
        if title.inner_text().startswith(name):
            return
        before = title.inner_text()
        visit.page.keyboard.press("n")
        visit.eventually(0, lambda before=before: title.inner_text() != before)
    assert title.inner_text().startswith(name)


def strokes(visit: Any, name: str) -> list[Any]:
    path = visit.folder / "results" / f"{name}.blendkit.json"
    kept = json.loads(path.read_text()) if path.exists() else {}
    return list((kept.get("strokes") or {}).get("strokes", []))


def test_the_next_pair_takes_over_neither_a_line_nor_what_was_shown(shown: Any) -> None:
    """A straight line begins on the pair at hand; back from painting its own picture is shown."""
    page = shown.page
    page.locator("#way").select_option("wipe")  # of the result, which the next pair has not
    page.keyboard.press("b")
    shown.drag((0.3, 0.3), (0.35, 0.35))
    shown.eventually(0, lambda: len(strokes(shown, "loud")) == 1)
    go_to(shown, "calm")
    box = page.locator("#stage").bounding_box()
    page.keyboard.down("Shift")
    page.mouse.click(box["x"] + 0.6 * box["width"], box["y"] + 0.7 * box["height"])
    page.keyboard.up("Shift")
    shown.eventually(0, lambda: len(strokes(shown, "calm")) == 1)
    assert len(strokes(shown, "calm")[0]["points"]) == 1
    page.keyboard.press("Escape")
    said = page.locator("#first option:checked").inner_text()
    assert said == "Background frame"
    assert page.locator("#way option:checked").inner_text() == "wiped with"
    shown.eventually(0, page.locator("#divider").is_visible)
    assert page.locator("#shown-left").inner_text().startswith(said)
    assert page.locator("#shown-right").inner_text().startswith("Foreground frame")


def test_on_a_pair_that_cannot_be_shown_nothing_is_painted_nor_left_of_another(shown: Any) -> None:
    page = shown.page
    frame = shown.folder / "lost-wide.tif"
    frame.rename(frame.with_suffix(".away"))
    page.keyboard.press("b")
    shown.drag((0.3, 0.3), (0.5, 0.5))
    shown.eventually(0, lambda: len(strokes(shown, "loud")) == 1)
    go_to(shown, "lost")
    shown.eventually(100, lambda: page.evaluate(CLEAN))
    assert page.locator("#task-look").get_attribute("aria-pressed") == "true"
    for name in ("task-paint", "task-tie", "settings-open", "decide-accepted"):
        assert page.locator(f"#{name}").is_disabled()
    assert not page.locator("#shown-left").is_visible()
    for key in ("b", "t", "Enter", "ArrowLeft", "Enter"):
        page.keyboard.press(key)
    shown.drag((0.3, 0.3), (0.5, 0.5))
    shown.eventually(300, lambda: page.evaluate(CLEAN))
    said = page.locator("#slip").inner_text()
    assert "lost-wide.tif" in said
    assert "Until then it cannot be painted, tied or decided" in said
    go_to(shown, "loud")
    page.keyboard.press("b")
    shown.drag((0.6, 0.3), (0.7, 0.3))
    shown.eventually(0, lambda: len(strokes(shown, "loud")) == 2)
    assert not strokes(shown, "lost")
    shown.errors.clear()  # the refusal itself, on the console


def test_keys_are_obeyed_after_a_choice_by_pointer_and_a_slider_keeps_its_own(shown: Any) -> None:
    page = shown.page
    marks = page.locator("#marks")
    marks.focus()
    marks.select_option(label="clipped light")
    assert page.evaluate("() => document.activeElement.id") == "marks"  # by keyboard one goes on
    page.locator("#way").click()
    page.wait_for_timeout(400)  # the list drops down, and takes the keys that choose from it
    page.keyboard.press("ArrowDown")
    page.keyboard.press("Enter")
    shown.eventually(0, lambda: page.locator("#way").input_value() == "wipe")
    page.keyboard.press("b")
    assert page.locator("#task-paint").get_attribute("aria-pressed") == "true"
    page.keyboard.press("Escape")
    slider = page.locator("#marks-strength")
    slider.focus()
    for key, value in (("ArrowLeft", "79"), ("ArrowUp", "80"), ("Home", "10"), ("End", "100")):
        page.keyboard.press(key)
        assert slider.input_value() == value
    page.keyboard.press("u")
    assert slider.input_value() == "90"
