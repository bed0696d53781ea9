"""Pictures and marks that cannot be loaded, in a real browser."""

import shutil
from pathlib import Path
from typing import Any

import pytest


@pytest.fixture
def shoot(tmp_path: Path, drawn: Path, write_finding: Any) -> Path:
    """Return a folder with a merged pair whose result and source map are damaged."""
    folder = tmp_path / "shoot"
    shutil.copytree(drawn, folder)
    write_finding(folder, "gate")
    for name in ("gate.tif", "gate.sources.png"):
        (folder / "results" / name).write_bytes(b"no picture")
    return folder


def test_what_cannot_be_loaded_is_named_once_and_the_sentence_goes_back(visit: Any) -> None:
    page, notice = visit.page, visit.page.locator("#notice")
    first, marks = page.locator("#first"), page.locator("#marks")
    chosen = page.locator("#first option:checked"), page.locator("#marks option:checked")
    notice.get_by_text("gate.tif").wait_for()
    assert notice.inner_text().startswith("Result: ")
    assert chosen[0].inner_text() == "Background frame"
    assert page.locator("#shown-left").inner_text().startswith("Background frame")
    first.select_option(label="Foreground frame")
    marks.select_option(label="where pixels come from")
    notice.get_by_text("gate.sources.png").wait_for()
    assert chosen[1].inner_text() == "nothing"
    asked: list[str] = []
    page.on("request", lambda request: asked.append(request.url))
    for _ in range(2):
        first.select_option(label="Result")
        notice.get_by_text("gate.tif").wait_for()
        marks.select_option(label="where pixels come from")
        notice.get_by_text("gate.sources.png").wait_for()
    page.wait_for_timeout(300)
    assert [one for one in asked if "-result-" in one or "-sources-" in one] == []
    assert (chosen[0].inner_text(), chosen[1].inner_text()) == ("Foreground frame", "nothing")
    # An answer that failed to come once is asked for again without a word.
    page.route("**/marks/*-flags-*", lambda route: route.fulfill(status=204), times=1)
    with page.expect_response(lambda one: "-flags-" in one.url and one.status == 200):
        page.keyboard.press("f")
    page.wait_for_timeout(300)
    assert chosen[1].inner_text() == "findings"
    assert "findings" not in notice.inner_text().lower()
    visit.errors.clear()  # the refusals themselves, on the console
