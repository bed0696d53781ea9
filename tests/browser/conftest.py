"""A real browser on a real server: Debian's chromium, driven by Playwright.

Where chromium or Playwright is absent the tests are skipped and say so.
"""

import json
import shutil
import threading
from collections.abc import Callable, Iterator
from contextlib import AbstractContextManager, contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import pytest

from blendkit.files import write_picture
from blendkit.filters.disc import disc_blur
from blendkit.frame import Capture, Frame

pytest.importorskip("uvicorn", reason="blendkit[review] is not installed")
from blendkit.review.serve import Server
from blendkit.review.session import Session

CHROMIUM = shutil.which("chromium") or shutil.which("chromium-browser")
FLAGS = [
    "--headless",
    "--no-sandbox",
    "--disable-gpu",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
]
PATIENCE_MS = 180_000
THREE = ("arbour", "bower", "copse")
FINDING = {"id": 1, "box": [40, 60, 90, 70], "area_px": 6300}
SAID = {
    "veil-remains": {
        "severity": "warn",
        "message": "a veil of 8 % remains beside the boughs",
        "advice": "set the disc to about 40 px",
    },
    "soft-midground": {
        "severity": "fail",
        "message": "the ground is soft between two sharp parts",
        "advice": "take a bridge frame at f/16",
    },
}


def drawn_frames(size: tuple[int, int], seed: int = 3) -> tuple[Frame, Frame]:
    """Return (background, foreground): boughs before a wall, a figure in focus in both frames."""
    rng = np.random.default_rng(seed)
    width, height = size
    unit = max(size) / 600
    wall = _pattern(rng, size, unit)
    figure = np.zeros((height, width), np.float32)
    middle = (round(0.62 * width), round(0.6 * height))
    cv2.ellipse(
        figure, middle, (round(70 * unit), round(150 * unit)), 0, 0, 360, 1.0, -1, cv2.LINE_AA
    )
    cloth = _pattern(rng, size, unit / 2) * np.float32([1.2, 0.7, 0.6])
    boughs = np.zeros((height, width), np.float32)
    for k in range(7):
        start = (round(-5 * unit), round((20 + 55 * k) * unit))
        end = (round(0.42 * width), round((60 + 45 * k) * unit))
        cv2.line(boughs, start, end, 1.0, max(round((3 + k) * unit), 1), cv2.LINE_AA)
    shape = figure[..., None]
    sharp = _over(0.04, boughs, shape * cloth + (1 - shape) * wall)
    soft_wall = disc_blur(wall, max(14 * unit, 1))
    veiled = disc_blur(boughs, max(36 * unit, 1))
    soft = _over(0.04, veiled, shape * cloth + (1 - shape) * soft_wall)
    grain = [rng.normal(0, sigma, sharp.shape).astype(np.float32) for sigma in (0.002, 0.004)]
    wide = Capture(f_number=2.8, exposure_time_s=1 / 320, iso=100.0)
    stopped = Capture(f_number=16.0, exposure_time_s=1 / 80, iso=800.0)
    return (
        Frame(np.clip(soft + grain[0], 0, 1), wide, "wide"),
        Frame(np.clip(sharp + grain[1], 0, 1), stopped, "stopped"),
    )


def _pattern(rng: np.random.Generator, size: tuple[int, int], unit: float) -> np.ndarray:
    """Return coloured texture at several scales, (height, width, 3), about 0.1 to 0.7."""
    total = np.zeros((size[1], size[0], 3), np.float32)
    for cell in (4, 12, 40, 120):
        across = max(round(size[0] / (cell * unit)), 2), max(round(size[1] / (cell * unit)), 2)
        small = rng.normal(0, 0.07, (across[1], across[0], 3)).astype(np.float32)
        total += cv2.resize(small, size, interpolation=cv2.INTER_CUBIC)
    return np.clip(total + 0.35, 0.05, 0.9)


def _over(light: float, cover: np.ndarray, behind: np.ndarray) -> np.ndarray:
    return light * cover[..., None] + (1 - cover[..., None]) * behind


def write_pair(folder: Path, name: str, size: tuple[int, int], *, suffix: str = ".tif") -> None:
    """Write a drawn pair as NAME-wide and NAME-stopped, and add it to the folder's list."""
    frames = dict(zip(("wide", "stopped"), drawn_frames(size), strict=True))
    for which, frame in frames.items():
        write_picture(folder / f"{name}-{which}{suffix}", frame.pixels, like=frame)
    with (folder / "pairs.toml").open("a") as stream:
        stream.write(
            f'[[pair]]\nname = "{name}"\nbackground = "{name}-wide{suffix}"\n'
            f'foreground = "{name}-stopped{suffix}"\n'
        )


def write_finding(folder: Path, name: str, kind: str = "veil-remains", **other: Any) -> None:
    """Pretend that a pair was merged, with one finding: its background frame as the result.

    kind: one of SAID; other: what is not as in FINDING.
    """
    flag: dict[str, Any] = {**FINDING, "kind": kind, **SAID[kind], **other}
    background, foreground = (folder / f"{name}-{which}.tif" for which in ("wide", "stopped"))
    results = folder / "results"
    results.mkdir(exist_ok=True)
    shutil.copy(background, results / f"{name}.tif")
    document = {
        "schema": "blendkit.report/1",
        "inputs": [
            {"path": str(background), "role": "background"},
            {"path": str(foreground), "role": "foreground"},
        ],
        "alignment": {"matrix": np.eye(3).tolist()},
        "flags": [flag],
        "output": {"path": str(results / f"{name}.tif")},
    }
    (results / f"{name}.report.json").write_text(json.dumps(document))
    width, height = 600, 400
    labels = np.zeros((height, width), np.uint8)
    x, y, w, h = flag["box"]
    labels[y : y + h, x : x + w] = flag["id"]
    cv2.imwrite(str(results / f"{name}.flags.png"), labels)


@pytest.fixture
def copied_pairs(tmp_path: Path, drawn: Path) -> Callable[..., Path]:
    """Give a maker of a folder with copies of the drawn pair by other names, never merged."""

    def copied(*names: str) -> Path:
        folder = tmp_path / "shoot"
        folder.mkdir()
        listed = (drawn / "pairs.toml").read_text()
        for name in names:
            for which in ("wide", "stopped"):
                shutil.copy(drawn / f"gate-{which}.tif", folder / f"{name}-{which}.tif")
        (folder / "pairs.toml").write_text("".join(listed.replace("gate", name) for name in names))
        return folder

    return copied


@pytest.fixture(scope="module")
def three(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return a folder with three pairs that were never merged."""
    folder = tmp_path_factory.mktemp("three")
    for name in THREE:
        write_pair(folder, name, (240, 160))
    return folder


@pytest.fixture(scope="session")
def chromium() -> Iterator[Any]:
    """Start the browser once."""
    if CHROMIUM is None:
        pytest.skip("chromium is not installed (Debian's package chromium)")
    sync_api = pytest.importorskip("playwright.sync_api", reason="playwright is not installed")
    with sync_api.sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=CHROMIUM, args=FLAGS)
        yield browser
        browser.close()


@dataclass
class Visit:
    """An open page, and what went wrong or out while it was open."""

    page: Any
    url: str
    folder: Path
    errors: list[str] = field(default_factory=list)
    elsewhere: list[str] = field(default_factory=list)

    def ready(self) -> None:
        """Wait until a pair is on the desk."""
        self.page.locator("#name", has_text="to decide").wait_for()

    def another(self) -> Any:
        """Open the same address in a second tab."""
        page = self.page.context.new_page()
        page.goto(self.url)
        return page

    def eventually(self, least_ms: int, holds: Callable[[], bool]) -> None:
        """Wait, and go on waiting as long as a busy machine needs, until something holds."""
        self.page.wait_for_timeout(least_ms)
        for _ in range(600):
            if holds():
                return
            self.page.wait_for_timeout(100)
        assert holds()

    def drag(self, start: tuple[float, float], end: tuple[float, float], steps: int = 8) -> None:
        """Drag the pointer over the stage, places as shares of its size."""
        box = self.page.locator("#stage").bounding_box()
        places = [
            (box["x"] + u * box["width"], box["y"] + v * box["height"]) for u, v in (start, end)
        ]
        self.page.mouse.move(*places[0])
        self.page.mouse.down()
        self.page.mouse.move(*places[1], steps=steps)
        self.page.mouse.up()


@pytest.fixture(scope="session")
def drawn(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return a folder with the pair "gate", drawn once for all tests."""
    folder = tmp_path_factory.mktemp("drawn")
    write_pair(folder, "gate", (600, 400))
    return folder


@pytest.fixture(name="write_pair", scope="session")
def give_write_pair() -> Callable[..., None]:
    """Give `write_pair`."""
    return write_pair


@pytest.fixture(name="write_finding", scope="session")
def give_write_finding() -> Callable[..., None]:
    """Give `write_finding`."""
    return write_finding


@pytest.fixture
def visiting(chromium: Any, tmp_path: Path) -> Callable[..., AbstractContextManager[Visit]]:
    """Give a function that serves a folder and opens its page; nothing may go wrong on it."""

    @contextmanager
    def opened(folder: Path, size: tuple[int, int] = (1440, 900)) -> Iterator[Visit]:
        server = Server(Session(folder, cache=tmp_path / "cache"))
        thread = threading.Thread(target=server.run)
        thread.start()
        context = chromium.new_context(viewport={"width": size[0], "height": size[1]})
        visit = Visit(context.new_page(), server.url, folder)
        watch(context, visit)
        visit.page.set_default_timeout(PATIENCE_MS)
        try:
            visit.page.goto(server.url)
            visit.ready()
            yield visit
        finally:
            context.close()
            server.end()
            thread.join(20)
        assert not thread.is_alive()
        assert visit.errors == []
        assert visit.elsewhere == []

    return opened


@pytest.fixture
def visit(visiting: Callable[..., AbstractContextManager[Visit]], shoot: Path) -> Iterator[Visit]:
    """Open the page of the folder `shoot`."""
    with visiting(shoot) as found:
        yield found


def watch(context: Any, visit: Visit) -> None:
    """Note errors of the page and requests that leave the machine."""
    origin = visit.url.split("/")[2]

    def requested(request: Any) -> None:
        if not request.url.startswith((f"http://{origin}/", "data:", "blob:")):
            visit.elsewhere.append(request.url)

    def said(message: Any) -> None:
        # The tile viewer says so when a picture is changed while its tiles are on the way.
        if message.type in ("error", "warning") and "loaded before reset" not in message.text:
            visit.errors.append(message.text)

    context.on("request", requested)
    context.on("console", said)
    context.on("weberror", lambda error: visit.errors.append(str(error.error)))
