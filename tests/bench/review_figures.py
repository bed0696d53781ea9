"""Measure the review page: first view of 45 MP, stroke to preview, pan and wipe, memory.

    python tests/bench/review_figures.py [--folder DIR]

Needs chromium and playwright.  Ten pairs of 8192 x 5464 px are drawn once into DIR (16-bit TIFF,
uncompressed, about 5.4 GB; by default a temporary folder) by repeating a textured tile.
"""

import argparse
import json
import os
import shutil
import subprocess
import sys
import tempfile
import time
from pathlib import Path
from statistics import median
from typing import Any

import numpy as np
import tifffile
from playwright.sync_api import sync_playwright

SIZE = (8192, 5464)
PAIRS = 10
FLAGS = ["--headless", "--no-sandbox", "--disable-gpu", "--no-first-run"]
_FRAMES = """(seconds) => new Promise((done) => {
  const began = performance.now();
  let frames = 0;
  const next = (now) => {
    frames += 1;
    if (now - began < 1000 * seconds) requestAnimationFrame(next);
    else done(1000 * frames / (now - began));
  };
  requestAnimationFrame(next);
})"""


def draw(folder: Path) -> None:
    """Write ten pairs and their list; the second frame is the first, finer and shifted."""
    folder.mkdir(parents=True, exist_ok=True)
    if (folder / "pairs.toml").exists():
        return
    listed = ""
    for pair in range(PAIRS):
        for which, smooth in (("wide", 24), ("stopped", 4)):
            rng = np.random.default_rng(pair)
            cells = rng.uniform(8000, 50000, (SIZE[1] // smooth + 2, SIZE[0] // smooth + 2, 3))
            large = cells.astype(np.uint16).repeat(smooth, 0).repeat(smooth, 1)
            path = folder / f"p{pair:02}-{which}.tif"
            tifffile.imwrite(path, large[: SIZE[1], : SIZE[0]], photometric="rgb")
        listed += (
            f'[[pair]]\nname = "p{pair:02}"\nbackground = "p{pair:02}-wide.tif"\n'
            f'foreground = "p{pair:02}-stopped.tif"\n'
        )
    (folder / "pairs.toml").write_text(listed)


def serve(folder: Path, cache: Path) -> tuple[subprocess.Popen[str], str]:
    """Start the server; return it and its address."""
    run = "from blendkit.cli.main import main; main()"
    words = [sys.executable, "-c", run, "review", str(folder), "--no-browser"]
    server = subprocess.Popen([*words, "--cache", str(cache)], stdout=subprocess.PIPE, text=True)
    assert server.stdout is not None
    return server, server.stdout.readline().strip()


def memory_mib(process: int, what: str) -> float:
    """Return VmRSS or VmHWM of a process."""
    lines = Path(f"/proc/{process}/status").read_text().splitlines()
    return next(int(line.split()[1]) / 1024 for line in lines if line.startswith(what))


def first_view_s(browser: Any, url: str) -> float:
    """Return seconds from opening the address to both frames drawn on the screen."""
    page = browser.new_page(viewport={"width": 1440, "height": 900})
    done: set[str] = set()

    def arrived(answer: Any) -> None:
        if "/tiles/" in answer.url:
            done.add(answer.url.split("/tiles/")[1].split("-")[1])

    page.on("requestfinished", arrived)
    began = time.perf_counter()
    page.goto(url)
    page.locator("#name", has_text="to decide").wait_for()
    while not {"background", "foreground"} <= done or not drawn(page):
        page.wait_for_timeout(20)
    took = time.perf_counter() - began
    page.close()
    return took


def drawn(page: Any) -> bool:
    """Whether the canvas shows something else than the page's grey in its left and right half."""
    return bool(
        page.evaluate(
            """() => {
              const canvas = document.querySelector("#view canvas");
              if (!canvas || !canvas.width) return false;
              const pen = canvas.getContext("2d");
              return [0.25, 0.75].every((x) => {
                const pixel = pen.getImageData(canvas.width * x, canvas.height / 2, 1, 1).data;
                return pixel[3] > 0;
              });
            }"""
        )
    )


def frames_a_second(browser: Any, url: str) -> dict[str, float]:
    """Return frames a second while panning at 100 % and while wiping."""
    page = browser.new_page(viewport={"width": 1440, "height": 900})
    page.goto(url)
    page.locator("#name", has_text="to decide").wait_for()
    page.keyboard.press("z")
    page.wait_for_timeout(3000)
    box = page.locator("#stage").bounding_box()
    middle = (box["x"] + box["width"] * 0.3, box["y"] + box["height"] * 0.5)
    found = {}
    for what, start in (("pan", middle), ("wipe", (box["x"] + box["width"] / 2, middle[1]))):
        page.mouse.move(*start)
        page.mouse.down()
        page.evaluate(f"() => {{ window.counted = ({_FRAMES})(3); return null; }}")
        began = time.perf_counter()
        while (spent := time.perf_counter() - began) < 3:
            page.mouse.move(start[0] + 250 * np.sin(2 * spent), start[1] + 120 * np.sin(3 * spent))
        page.mouse.up()
        found[what] = float(page.evaluate("() => window.counted"))
    page.close()
    return found


def strokes_to_preview_s(browser: Any, url: str, count: int = 9) -> list[float]:
    """Return seconds from lifting the brush to the new preview, for several strokes."""
    page = browser.new_page(viewport={"width": 1440, "height": 900})
    page.goto(url)
    page.locator("#name", has_text="to decide").wait_for()
    page.keyboard.press("b")
    shown = page.locator("#preview-state", has_text="The preview shows all strokes.")
    shown.wait_for(timeout=600_000)
    box = page.locator("#stage").bounding_box()
    times = []
    for k in range(count):
        page.keyboard.press("gh"[k % 2])
        x, y = (
            box["x"] + box["width"] * (0.1 + 0.08 * k),
            box["y"] + box["height"] * (0.2 + 0.05 * k),
        )
        page.mouse.move(x, y)
        page.mouse.down()
        page.mouse.move(x + 50, y + 20, steps=6)
        arrived: list[float] = []
        page.on(
            "requestfinished",
            lambda one, arrived=arrived: (
                "/pictures/" in one.url and arrived.append(time.perf_counter())
            ),
        )
        page.mouse.up()
        lifted = time.perf_counter()
        while not arrived and time.perf_counter() - lifted < 60:
            page.wait_for_timeout(10)
        times.append(arrived[0] - lifted if arrived else float("nan"))
        page.wait_for_timeout(300)
    page.close()
    return times


def main() -> None:
    """Measure and print."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--folder", type=Path)
    parser.add_argument("--pair", type=Path, help="folder with a real pair of about 2.8 MP")
    given = parser.parse_args()
    scratch = Path(tempfile.mkdtemp())
    folder = given.folder or scratch / "pairs"
    draw(folder)
    figures: dict[str, Any] = {"load": os.getloadavg()[0]}
    with sync_playwright() as playwright:
        chromium = shutil.which("chromium") or "chromium"
        browser = playwright.chromium.launch(executable_path=chromium, args=FLAGS)
        server, url = serve(folder, scratch / "cache")
        figures["first_view_s"] = first_view_s(browser, url)
        figures["first_view_cached_s"] = first_view_s(browser, url)
        figures["frames_a_second"] = frames_a_second(browser, url)
        figures["memory_mib_now"] = memory_mib(server.pid, "VmRSS")
        figures["memory_mib_peak"] = memory_mib(server.pid, "VmHWM")
        server.terminate()
        if given.pair is not None:
            server, url = serve(given.pair, scratch / "cache2")
            figures["stroke_to_preview_s"] = strokes_to_preview_s(browser, url)
            figures["stroke_to_preview_median_s"] = median(figures["stroke_to_preview_s"])
            server.terminate()
        browser.close()
    shutil.rmtree(scratch, ignore_errors=True)
    print(json.dumps(figures, indent=1))


if __name__ == "__main__":
    main()
