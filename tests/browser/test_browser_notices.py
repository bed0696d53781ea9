"""What the page says when something is refused, and how it ends, in a real browser."""

import json
import shutil
import threading
from pathlib import Path
from typing import Any

import pytest


@pytest.fixture
def shoot(tmp_path: Path, three: Path) -> Path:
    folder = tmp_path / "shoot"
    shutil.copytree(three, folder)
    return folder


def test_a_refusal_is_seen_in_an_open_dialog_and_so_is_the_next_outside(visit: Any) -> None:
    page, notice = visit.page, visit.page.locator("#notice")
    page.keyboard.press("j")
    door = page.locator("#settings")
    door.locator("summary", has_text="alignment").click()
    whole = door.get_by_label("Coarse size", exact=True)
    whole.fill("320.5")
    whole.press("Enter")
    notice.wait_for()
    assert "320.5" in notice.inner_text()
    page.keyboard.press("Escape")
    visit.eventually(0, notice.is_visible)  # whoever closes the dialog at once can still read it
    for key in ("l", "?", "j"):  # each of them is filled while the notice lies in none of them
        page.keyboard.press(key)
        page.keyboard.press("Escape")
    page.keyboard.press("a")
    notice.get_by_text("There is no result to accept: merge it first.").wait_for()
    visit.errors.clear()  # the refusals themselves, on the console


class EndlessMerge:
    """Stands for the process of a merge and for its pipe: under way until it is ended."""

    def __init__(self) -> None:
        self.told = False
        self.ended = threading.Event()

    def recv(self) -> tuple[str, str, float]:
        """Tell of one stage, then nothing more."""
        if not self.told:
            self.told = True
            return "stage", "matte", 0.3
        self.ended.wait(60)
        raise EOFError

    def terminate(self) -> None:
        """End it."""
        self.ended.set()

    def join(self, _timeout_s: float = 0) -> None:
        """Wait for its end, which is at once."""

    def is_alive(self) -> bool:
        """Return False: it was waited for."""
        return False


def test_the_end_names_merges_that_it_would_cut_off_and_keeps_a_stroke_under_way(
    visit: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    page = visit.page
    merges: list[EndlessMerge] = []

    def start(_task: object) -> tuple[EndlessMerge, EndlessMerge]:
        merges.append(EndlessMerge())
        return merges[-1], merges[-1]

    monkeypatch.setattr("blendkit.review.jobs.start", start)
    page.route("**/preview", lambda route: route.fulfill(json={"revision": 0, "pictures": []}))
    door = page.locator("#list")
    for name in ("bower", "copse"):
        page.keyboard.press("l")
        door.get_by_role("button", name=name).click()
        page.locator("#name", has_text=name).wait_for()
        page.keyboard.press("Shift+Enter")
        page.locator("#slip", has_text="Merging at full size").wait_for()
        assert page.get_by_role("button", name="Merge", exact=True).count() == 0
    page.keyboard.press("b")
    page.keyboard.press("Enter")
    for _ in range(3):
        page.keyboard.press("ArrowLeft")
    page.keyboard.press("l")
    end = page.get_by_role("button", name="End the session")
    end.click()
    door.get_by_role("heading", name="2 merges are still running and would be ended").wait_for()
    assert door.locator("li").all_inner_texts() == ["bower", "copse"]
    kept = json.loads((visit.folder / "results" / "copse.blendkit.json").read_text())
    assert [len(one["points"]) for one in kept["strokes"]["strokes"]] == [4]
    door.get_by_role("button", name="Wait for them").click()
    page.keyboard.press("l")
    assert door.get_by_role("heading", name="3 pairs").count() == 1
    end.click()
    door.get_by_role("button", name="End without them").click()
    page.get_by_text("Not merged: bower, copse.").wait_for()
    assert page.get_by_text("Everything is saved").count() == 0
    visit.eventually(0, lambda: [one.ended.is_set() for one in merges] == [True])
