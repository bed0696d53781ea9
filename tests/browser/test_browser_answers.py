"""Answers that come late, in another order, or not at all, in a real browser."""

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import pytest


@pytest.fixture
def shoot(copied_pairs: Callable[..., Path], write_finding: Any) -> Path:
    """Return a folder with a pair that has a finding, and a pair that was never merged."""
    folder = copied_pairs("calm", "loud")
    write_finding(folder, "loud", "soft-midground")
    return folder


class Repairs:
    """Answers the page's questions for repairs in place of the server, when it is told to."""

    def __init__(self, page: Any) -> None:
        self.asked: dict[str, Any] = {}
        page.route("**/repair", self._keep)
        page.route("**/pictures/tried-*", self._picture)

    def _keep(self, route: Any) -> None:
        self.asked[route.request.post_data_json["mode"]] = route

    def _picture(self, route: Any) -> None:
        grey = 60 if route.request.url.endswith("extend") else 200
        picture = cv2.imencode(".png", np.full((400, 600, 3), grey, np.uint8))[1].tobytes()
        route.fulfill(body=picture, content_type="image/png")

    def answer(self, mode: str) -> None:
        """Give the picture of a repair, by now perhaps of one that was left."""
        tried = {
            "id": f"tried-{mode}",
            "kind": "repair",
            "label": f"Repair by {mode}",
            "note": "",
            "size": [600, 400],
            "levels": 0,
            "tile_px": 0,
            "overlap_px": 0,
        }
        self.asked.pop(mode).fulfill(json={"revision": 1, "pictures": [tried]})

    def refuse(self, mode: str) -> None:
        """Say that a repair does not help."""
        self.asked.pop(mode).fulfill(status=422, json={"error": f"{mode} does not help here"})


def test_of_two_repairs_on_trial_the_one_asked_for_last_is_shown(visit: Any) -> None:
    page, repairs = visit.page, Repairs(visit.page)
    keep, leave = (page.get_by_role("button", name=name) for name in ("Keep it", "Leave it"))

    def both_tried() -> None:
        for label, mode in (
            ("Take it from the sharper frame", "extend"),
            ("Sharpen it", "sharpen"),
        ):
            page.get_by_role("button", name=label).click()
            visit.eventually(0, lambda mode=mode: mode in repairs.asked)
            if mode == "extend":
                leave.click()

    both_tried()
    repairs.answer("extend")
    page.wait_for_timeout(400)
    assert keep.is_disabled()
    assert "Repair by" not in page.locator("#first").inner_text()
    repairs.answer("sharpen")
    page.locator("[data-keep=keep]:enabled").wait_for()
    assert page.locator("#first option:checked").inner_text() == "Repair by sharpen"
    leave.click()
    both_tried()
    repairs.refuse("extend")
    page.wait_for_timeout(400)
    assert page.locator("#slip", has_text="A repair on trial").count() == 1
    assert not page.locator("#notice").is_visible()
    # The server answers nothing where something newer took its work over.
    repairs.asked.pop("sharpen").fulfill(status=204)
    page.locator("#notice", has_text="try it again").wait_for()
    assert leave.count() == 0
    visit.errors.clear()  # the refusal itself, on the console


class Merge:
    """Lets the pair at hand look as if its merge were under way, farther at each question."""

    def __init__(self, page: Any) -> None:
        self.steps = 0
        page.route("**/news", self._news)
        page.route("**/pairs/*", self._pair)

    def _job(self) -> dict[str, Any]:
        return {"state": "running", "stage": f"step {self.steps}", "share": 0.1, "error": ""}

    def _news(self, route: Any) -> None:
        self.steps += 1
        news = route.fetch().json()
        route.fulfill(json=[{**one, "job": self._job()} for one in news])

    def _pair(self, route: Any) -> None:
        route.fulfill(json={**route.fetch().json(), "job": self._job()})


def test_what_is_pressed_while_a_merge_goes_on_is_clicked(visit: Any) -> None:
    page, merge = visit.page, Merge(visit.page)
    page.locator("#slip h2", has_text="step").wait_for()
    place = page.get_by_role("button", name="Show it").bounding_box()
    page.mouse.move(place["x"] + 20, place["y"] + 20)
    page.mouse.down()
    before = merge.steps
    visit.eventually(300, lambda: merge.steps > before + 2)
    told = page.locator("#slip h2").first.inner_text()
    page.mouse.up()
    assert int(told.rpartition(" ")[2]) > before  # the progress itself goes on
    visit.eventually(0, lambda: page.locator("#marks option:checked").inner_text() == "findings")


def test_a_button_pressed_before_the_answer_comes_is_clicked_after_it(visit: Any) -> None:
    """Leaving a number saves it, so that the answer comes while the next button is held down."""
    page = visit.page
    page.keyboard.press("j")
    door = page.locator("#settings")
    door.locator("summary", has_text="plate").click()
    door.get_by_label("Veil error").fill("0.25")
    place = door.get_by_role("button", name="Close").bounding_box()
    page.mouse.move(place["x"] + 20, place["y"] + 20)
    page.mouse.down()
    path = visit.folder / "results" / "loud.blendkit.json"
    visit.eventually(300, path.exists)
    page.wait_for_timeout(300)
    page.mouse.up()
    door.wait_for(state="hidden")
    page.keyboard.press("j")
    assert door.locator("summary", has_text="plate (1 changed)").count() == 1


def test_ties_changed_before_the_answer_comes_are_all_kept(visit: Any) -> None:
    page = visit.page
    late: list[Any] = []
    path = visit.folder / "results" / "loud.blendkit.json"

    def ties() -> list[Any]:
        return list(json.loads(path.read_text())["ties"]) if path.exists() else []

    def hold(route: Any) -> None:
        late.append(route)

    def answer() -> None:
        page.wait_for_timeout(300)
        late.pop().continue_()

    page.route("**/ties", hold, times=1)
    page.keyboard.press("t")
    box = page.locator("#stage").bounding_box()
    for share in (0.3, 0.6):
        for shift in (0, 8):
            place = box["x"] + share * box["width"] + shift, box["y"] + 0.5 * box["height"]
            page.mouse.click(*place)
            page.wait_for_timeout(450)  # nearer in time two clicks would be a double click
    answer()
    visit.eventually(300, lambda: len(ties()) == 2)
    first, second = ties()
    assert second[0][0] - first[0][0] > 100
    page.get_by_role("button", name="Remove tie 2").wait_for()
    page.route("**/ties", hold, times=1)
    for _ in range(2):  # pressed twice in haste it means one tie
        page.get_by_role("button", name="Remove tie 1").click()
    answer()
    page.get_by_role("button", name="Remove tie 2").wait_for(state="detached")
    visit.eventually(500, lambda: ties() == [second])
