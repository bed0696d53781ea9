"""What the page says when something is refused, and how it ends, in a real browser."""

import shutil
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

NAMES = ("arbour", "bower", "copse")


@pytest.fixture(scope="module")
def three(tmp_path_factory: pytest.TempPathFactory, write_pair: Callable[..., None]) -> Path:
    """Return a folder with three pairs that were never merged."""
    folder = tmp_path_factory.mktemp("three")
    for name in NAMES:
        write_pair(folder, name, (240, 160))
    return folder


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
