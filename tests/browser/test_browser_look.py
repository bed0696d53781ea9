"""Looking and deciding, in a real browser."""

import json
import re
from collections.abc import Callable
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import pytest

from blendkit import review


@pytest.fixture
def shoot(copied_pairs: Callable[..., Path], write_finding: Any) -> Path:
    """Return a folder with a pair that has a finding, and a pair that was never merged."""
    folder = copied_pairs("calm", "loud")
    torn = {
        "name": "torn",
        "status": "failed",
        "reason": "torn-wide.tif: is damaged; send it again",
    }
    (folder / "summary.json").write_text(json.dumps({"pairs": [torn]}))
    write_finding(folder, "loud")
    return folder


def pixels(visit: Any) -> np.ndarray:
    """Return what the stage shows, (height, width, 3)."""
    visit.page.wait_for_timeout(700)
    shot = visit.page.locator("#view").screenshot()
    return cv2.imdecode(np.frombuffer(shot, np.uint8), cv2.IMREAD_COLOR).astype(int)


def sidecar(visit: Any, name: str) -> dict[str, Any]:
    return json.loads((visit.folder / "results" / f"{name}.blendkit.json").read_text())


def test_the_pair_that_needs_a_look_is_on_the_desk_with_its_reason(visit: Any) -> None:
    page = visit.page
    assert page.locator("#name").inner_text() == "loud · 2 to decide"
    assert page.locator("#reason").inner_text() == "A veil of 8 % remains beside the boughs."
    slip = page.locator("#slip")
    assert "Worth a look" in slip.inner_text()
    assert "Set the disc to about 40 px." in slip.inner_text()
    # The numbers that matter for this finding stand beside it, with unit and range.
    assert slip.get_by_label("Disc", exact=True).get_attribute("max") == "2000"
    assert "px" in slip.locator(".unit").first.inner_text()


def test_a_wipe_shows_one_picture_left_and_the_other_right(visit: Any) -> None:
    page = visit.page
    page.locator("#first").select_option(label="Background frame")
    left = pixels(visit)
    page.locator("#first").select_option(label="Foreground frame")
    right = pixels(visit)
    page.locator("#first").select_option(label="Background frame")
    page.locator("#way").select_option("wipe")
    page.locator("#second").select_option(label="Foreground frame")
    both = pixels(visit)
    middle = both.shape[1] // 2
    rows, apart = slice(60, -10), 30  # below the tags, off the divider
    here, there = slice(0, middle - apart), slice(middle + apart, None)
    assert np.abs(left - right)[rows].mean() > 4
    # Where tiles join, the canvas lets a little of what lies beneath shine through.
    assert (np.abs(both - left)[rows, here] > 2).mean() < 0.005
    assert (np.abs(both - right)[rows, there] > 2).mean() < 0.005
    visit.drag((0.5, 0.9), (0.2, 0.9))
    moved = pixels(visit)
    assert (np.abs(moved - right)[rows, both.shape[1] // 4 :] > 2).mean() < 0.005
    assert int(page.locator("#divider").get_attribute("aria-valuenow")) == pytest.approx(20, abs=1)


def test_pictures_in_turns_change_places_at_the_space_bar(visit: Any) -> None:
    page = visit.page
    page.locator("#first").select_option(label="Background frame")
    page.locator("#way").select_option("turns")
    page.locator("#second").select_option(label="Foreground frame")
    page.locator("#stage").click(position={"x": 5, "y": 300})
    page.mouse.move(5, 5)
    page.evaluate("() => document.activeElement.blur()")
    tag = page.locator("#shown-left")
    seen = {tag.inner_text().split(" ·")[0]}
    page.keyboard.press("Space")
    seen.add(tag.inner_text().split(" ·")[0])
    assert seen == {"Background frame", "Foreground frame"}


def test_a_flag_flies_the_view_to_its_place_and_marks_it(visit: Any) -> None:
    page = visit.page
    page.keyboard.press("f")
    visit.eventually(900, lambda: page.locator("#marks option:checked").inner_text() == "findings")
    box = page.evaluate(
        """() => {
          const canvas = document.querySelector("#view canvas").getBoundingClientRect();
          return [canvas.width, canvas.height, document.querySelector("#zoom-now").textContent];
        }"""
    )
    # 90 x 70 px would fill the stage at 600 %, where nobody can judge them: twice is near enough.
    assert 180 < float(box[2].split()[0]) < 205
    marked = pixels(visit)
    page.keyboard.press("o")
    page.keyboard.press("Shift+O")
    page.locator("#marks").select_option("")
    plain = pixels(visit)
    differs = np.abs(marked - plain).max(axis=2) > 8
    height, width = differs.shape
    assert (
        differs[height // 2 - 40 : height // 2 + 40, width // 2 - 40 : width // 2 + 40].mean() > 0.9
    )
    assert differs[:, : width // 20].mean() < 0.02


def test_zoom_is_one_to_one_and_linked(visit: Any) -> None:
    page = visit.page
    page.keyboard.press("z")
    visit.eventually(700, lambda: page.locator("#zoom-now").inner_text() == "100 %")
    page.locator("#first").select_option(label="Foreground frame")
    visit.eventually(500, lambda: page.locator("#zoom-now").inner_text() == "100 %")
    page.keyboard.press("z")
    visit.eventually(700, lambda: page.locator("#zoom-now").inner_text() != "100 %")


def test_the_magnifier_follows_the_pointer(visit: Any) -> None:
    page = visit.page
    page.keyboard.press("m")
    box = page.locator("#stage").bounding_box()
    lens = page.locator("#lens")
    page.mouse.move(box["x"] + 200, box["y"] + 300)
    page.wait_for_timeout(600)
    first = lens.bounding_box()
    page.mouse.move(box["x"] + 420, box["y"] + 300)
    visit.eventually(
        300, lambda: lens.bounding_box()["x"] - first["x"] == pytest.approx(220, abs=3)
    )
    page.keyboard.press("m")
    assert not lens.is_visible()


def test_decisions_go_to_the_sidecar_and_the_next_open_pair_comes(visit: Any) -> None:
    page = visit.page
    page.keyboard.press("a")
    page.locator("#name").get_by_text("calm · 1 to decide").wait_for()
    assert sidecar(visit, "loud")["decision"] == "accepted"
    page.locator("#decide-sent-back").click()
    page.locator("#notice").get_by_text("Every pair is decided.").wait_for()
    assert sidecar(visit, "calm")["decision"] == "sent-back"
    page.reload()
    visit.ready()
    page.keyboard.press("l")
    listed = page.locator("#list").inner_text()
    assert "2 pairs, 0 to decide" in listed
    assert "sent back" in listed
    assert "torn is not shown: torn-wide.tif: is damaged; send it again" in listed
    page.keyboard.press("Escape")


def test_numbers_are_generated_checked_and_kept(visit: Any) -> None:
    page = visit.page
    page.keyboard.press("j")
    door = page.locator("#settings")
    assert door.locator("details").count() >= 8
    door.locator("summary", has_text="plate").click()
    field = door.get_by_label("Veil error")
    field.fill("0.25")
    field.press("Enter")
    visit.eventually(
        800, lambda: sidecar(visit, "loud")["settings"] == {"plate": {"veil_error": 0.25}}
    )
    field = door.get_by_label("Veil error")
    field.fill("7")
    field.press("Enter")
    visit.eventually(
        400, lambda: sidecar(visit, "loud")["settings"] == {"plate": {"veil_error": 0.25}}
    )
    page.keyboard.press("Escape")


def test_the_keys_that_are_listed_are_those_that_are_obeyed(visit: Any) -> None:
    page = visit.page
    page.keyboard.press("?")
    listed = page.evaluate(
        """() => [...document.querySelectorAll("#help dt")].map((one) =>
             [...one.querySelectorAll("kbd")].map((part) => part.textContent).join(" "))"""
    )
    source = (Path(review.__file__).parent / "static" / "main.js").read_text(encoding="utf-8")
    table = source[source.index("const keys = [") :]
    first = re.findall(r'\bkeys: \["([^"]+)"', table)
    # Digits choose the five pictures, and with Shift what they are compared with.
    first += [f"{shift}{digit}" for digit in range(1, 6) for shift in ("", "Shift+")]
    assert sorted(listed) == sorted(shown(name) for name in first)
    assert len(set(first)) == len(first) >= 40
    page.keyboard.press("Escape")
    assert not page.locator("#help").is_visible()
    before = page.locator("#way").input_value()
    page.keyboard.press("w")
    assert page.locator("#way").input_value() != before


def shown(name: str) -> str:
    """Return how a key is listed."""
    signs = {"Left": "←", "Right": "→", "Up": "↑", "Down": "↓"}
    if name.startswith("Arrow"):
        return signs[name.removeprefix("Arrow")]
    if name == "Escape":
        return "Esc"
    *held, key = name.split("+") if len(name) > 1 else [name]
    return " ".join([*held, key.upper() if len(key) == 1 else key])


def test_the_session_ends_from_the_page(visit: Any) -> None:
    page = visit.page
    page.keyboard.press("l")
    page.get_by_role("button", name="End the session").click()
    page.get_by_text("Everything is saved.").wait_for()


@pytest.mark.parametrize("size", [(1024, 768), (1440, 900)])
def test_axe_finds_nothing(visit: Any, size: tuple[int, int]) -> None:
    # axe-core's rules for WCAG 2.1 A and AA, contrast among them.
    page = visit.page
    page.set_viewport_size({"width": size[0], "height": size[1]})
    (axe,) = (Path(__file__).parent / "vendor").glob("axe-core-*.min.js")
    # Through the debugger, past the page's own policy, which lets no other script run.
    page.evaluate(axe.read_text(encoding="utf-8") + "\n;undefined")
    states = ("look", "paint", "tie", "list", "numbers", "help")
    for state, key in zip(states, "wbtlj?", strict=True):
        page.keyboard.press(key)
        page.wait_for_timeout(300)
        found = page.evaluate(
            """() => axe.run(document, {runOnly: ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa"]})
                 .then((result) => result.violations.map((one) =>
                   [one.id, ...one.nodes.map((node) => node.html)].join(" ")))"""
        )
        assert found == [], state
        assert page.evaluate("() => document.documentElement.scrollWidth <= innerWidth"), state
        page.keyboard.press("Escape")


def test_all_controls_are_large_enough_for_fingers(visit: Any) -> None:
    page = visit.page
    page.set_viewport_size({"width": 1024, "height": 768})
    page.wait_for_timeout(300)
    small = page.evaluate(
        """() => [...document.querySelectorAll("button, select, [role=slider]")]
             .filter((one) => one.checkVisibility())
             .filter((one) => { const box = one.getBoundingClientRect();
                                return box.width < 24 || box.height < 24
                                  || box.right > innerWidth + 1 || box.bottom > innerHeight + 1; })
             .map((one) => one.outerHTML)"""
    )
    assert small == []  # WCAG 2.2, 2.5.8: at least 24 x 24 CSS px


def test_f_flies_from_place_to_place_of_a_finding(visit: Any) -> None:
    """What could not be placed lies all over a picture: one box around it shows nothing."""
    page = visit.page
    marked = visit.folder / "results" / "loud.flags.png"
    labels = cv2.imread(str(marked), cv2.IMREAD_GRAYSCALE)
    labels[300:340, 480:520] = 1  # the number of the finding
    cv2.imwrite(str(marked), labels)
    page.reload()
    visit.ready()
    heading = page.locator("#slip h2").first
    middles = []
    for place in (1, 2):
        page.keyboard.press("f")
        visit.eventually(900, lambda now=place: f"place {now} of 2" in heading.inner_text())
        shown = pixels(visit)
        page.locator("#marks").select_option("")
        differs = np.abs(shown - pixels(visit)).max(axis=2) > 8
        height, width = differs.shape
        inner = differs[height // 3 : -height // 3, width // 3 : -width // 3]
        middles.append(np.argwhere(inner).mean(axis=0) / inner.shape)
    # Each place in its turn is what the view is centred on.
    assert np.abs(np.array(middles) - 0.5).max() < 0.15
    page.keyboard.press("f")
    visit.eventually(300, lambda: "place 1 of 2" in heading.inner_text())
