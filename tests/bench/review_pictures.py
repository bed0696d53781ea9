"""Takes README's pictures of the review page, in a real browser, over a folder of results.

blendkit demo DEMO
python tests/bench/review_pictures.py DEMO examples/pictures
"""

import shutil
import sys
import tempfile
import threading
from pathlib import Path
from typing import Any

from playwright.sync_api import sync_playwright

from blendkit.review.serve import Server
from blendkit.review.session import Session

SIZE = {"width": 1360, "height": 850}
_SETTLE_MS = 2500


def main() -> None:
    """Serve the folder, go through the states, save a picture of each."""
    folder, target = Path(sys.argv[1]), Path(sys.argv[2])
    target.mkdir(parents=True, exist_ok=True)
    with tempfile.TemporaryDirectory() as cache, sync_playwright() as playwright:
        server = Server(Session(folder, cache=Path(cache)))
        thread = threading.Thread(target=server.run)
        thread.start()
        browser = playwright.chromium.launch(
            executable_path=shutil.which("chromium"), args=["--no-sandbox", "--disable-gpu"]
        )
        page = browser.new_page(viewport=SIZE)
        page.goto(server.url)
        page.locator("#name", has_text="to decide").wait_for(timeout=60_000)
        page.keyboard.press("w")
        _take(page, target / "review_wipe.jpg")
        page.keyboard.press("w")
        page.keyboard.press("b")
        _stroke(page, (0.2, 0.3), (0.36, 0.42))
        _take(page, target / "review_paint.jpg")
        browser.close()
        server.end()
        thread.join(20)


def _take(page: Any, path: Path) -> None:
    page.wait_for_timeout(_SETTLE_MS)
    page.screenshot(path=str(path), type="jpeg", quality=82)
    print(path)


def _stroke(page: Any, start: tuple[float, float], end: tuple[float, float]) -> None:
    """Paint a stroke between two places of the stage, given as shares of its size."""
    box = page.locator("#stage").bounding_box()
    places = [(box["x"] + u * box["width"], box["y"] + v * box["height"]) for u, v in (start, end)]
    page.mouse.move(*places[0])
    page.mouse.down()
    page.mouse.move(*places[1], steps=12)
    page.mouse.up()


if __name__ == "__main__":
    main()
