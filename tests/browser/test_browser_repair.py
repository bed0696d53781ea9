"""Repairs, zones and overlays on the page, and the page under a finger, in a real browser."""

import json
import sys
from collections.abc import Callable, Iterator
from contextlib import AbstractContextManager
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import pytest

from blendkit.files import read_labels, write_picture
from blendkit.frame import Capture, Frame, Source

sys.path.insert(0, str(Path(__file__).parents[1] / "midground"))
from warped_ground import Lens, photograph, receding, with_noise

SIZE = (480, 320)


@pytest.fixture(scope="module")
def gap(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return frames of ground in focus at 11 m and at 4 m, soft in between, and their matte."""
    folder = tmp_path_factory.mktemp("gap")
    view = receding(SIZE, 3, surface="gravel", horizon=0.3)
    discs = []
    for name, focus_m, seed in (("wide", 11.0, 0), ("stopped", 4.0, 1)):
        lens = Lens(135, 4.6, focus_m, SIZE[0])
        pixels = with_noise(photograph(view, lens, seed=seed), 100, seed=seed)
        capture = Capture(f_number=4.6, iso=100, focal_length_mm=135)
        write_picture(folder / f"gap-{name}.tif", pixels, like=Frame(pixels, capture, name))
        discs.append(np.abs(lens.disc_px(view.distance_m)))
    cv2.imwrite(str(folder / "gap-matte.png"), np.uint8(255 * (discs[1] < discs[0])))
    return folder


@pytest.fixture
def repairing(
    visiting: Callable[..., AbstractContextManager[Any]],
    gap: Path,
    tmp_path: Path,
    write_finding: Any,
) -> Iterator[Any]:
    """Open the page of that pair, as if it had been merged and flagged."""
    folder = tmp_path / "shoot"
    folder.mkdir()
    for path in gap.iterdir():
        (folder / path.name).write_bytes(path.read_bytes())
    (folder / "pairs.toml").write_text(
        '[[pair]]\nname = "gap"\nbackground = "gap-wide.tif"\nforeground = "gap-stopped.tif"\n'
        'matte = "gap-matte.png"\n'
    )
    write_finding(folder, "gap", "soft-midground", box=[0, 150, 480, 60], area_px=28800)
    report = folder / "results" / "gap.report.json"
    document = json.loads(report.read_text())
    document["inputs"].append({"path": str(folder / "gap-matte.png"), "role": "matte"})
    report.write_text(json.dumps(document))
    with visiting(folder) as found:
        yield found


def test_a_repair_is_tried_left_tried_again_and_kept(repairing: Any) -> None:
    page, results = repairing.page, repairing.folder / "results"
    offer = page.get_by_role("button", name="Let the blur grow evenly")
    offer.click()
    keep = page.get_by_role("button", name="Keep it")
    keep.wait_for()
    page.locator("[data-keep=keep]:enabled").wait_for()
    before = (results / "gap.tif").read_bytes()
    page.get_by_role("button", name="Leave it").click()
    assert (results / "gap.tif").read_bytes() == before
    offer.click()
    page.locator("[data-keep=keep]:enabled").wait_for()
    keep.click()
    keep.wait_for(state="detached")
    report = results / "gap.report.json"
    for _ in range(600):
        document = json.loads(report.read_text())
        if document.get("repairs"):
            break
        page.wait_for_timeout(100)
    assert document["repairs"][0]["mode"] == "taper"
    assert document["repairs"][0]["applied"]
    sources = read_labels(results / "gap.sources.png")
    assert (sources == Source.REPAIRED).mean() > 0.02
    kept = json.loads((results / "gap.blendkit.json").read_text())
    assert [one["mode"] for one in kept["repairs"]] == ["taper"]
    page.get_by_role("button", name="Take the repair back").click()
    repairing.eventually(500, lambda: not json.loads(report.read_text())["repairs"])
    offer.wait_for()
    assert page.get_by_role("button", name="Take the repair back").count() == 0
    assert (read_labels(results / "gap.sources.png") != Source.REPAIRED).all()


@pytest.fixture
def shoot(tmp_path: Path, drawn: Path) -> Path:
    """Return a folder with one pair that was never merged."""
    folder = tmp_path / "plain"
    folder.mkdir()
    for path in drawn.iterdir():
        (folder / path.name).write_bytes(path.read_bytes())
    return folder


def pixels(visit: Any) -> np.ndarray:
    """Return what the stage shows, (height, width, 3)."""
    visit.page.wait_for_timeout(700)
    shot = visit.page.locator("#view").screenshot()
    return cv2.imdecode(np.frombuffer(shot, np.uint8), cv2.IMREAD_COLOR).astype(int)


def test_a_click_takes_a_zone_as_strokes(visit: Any) -> None:
    page = visit.page
    page.keyboard.press("b")
    page.locator("#preview-state", has_text="The preview shows all strokes.").wait_for()
    page.keyboard.press("r")
    box = page.locator("#stage").bounding_box()
    page.mouse.click(box["x"] + box["width"] * 0.62, box["y"] + box["height"] * 0.6)
    path = visit.folder / "results" / "gate.blendkit.json"
    for _ in range(100):
        strokes = json.loads(path.read_text())["strokes"] if path.exists() else None
        if strokes and strokes["strokes"]:
            break
        page.wait_for_timeout(100)
    # The figure is an ellipse about (372, 240) of 600 x 400 px, 140 px wide; runs cross it.
    runs = [stroke["points"] for stroke in strokes["strokes"] if len(stroke["points"]) == 2]
    middle = [run for run in runs if abs(run[0][1] - 240) < 5]
    assert middle
    assert all(run[0][0] < 330 and run[1][0] > 410 for run in middle)


def test_marks_are_drawn_over_the_picture_and_go_away(visit: Any) -> None:
    page = visit.page
    page.keyboard.press("b")
    page.locator("#preview-state", has_text="The preview shows all strokes.").wait_for()
    plain = pixels(visit)
    options = page.locator("#marks option").all_inner_texts()
    assert {"who is softer", "zones", "clipped light"} <= set(options)
    for marks in ("who is softer", "zones"):
        page.locator("#marks").select_option(label=marks)
        page.wait_for_timeout(1500)
        marked = pixels(visit)
        page.locator("#marks").select_option("")
        gone = pixels(visit)
        assert (np.abs(marked - plain).max(axis=2) > 8).mean() > 0.02, marks
        assert (np.abs(gone - plain).max(axis=2) > 8).mean() < 0.005, marks


def test_a_finger_pans_and_two_zoom(chromium: Any, visit: Any) -> None:
    """On a touch screen one finger moves the picture and two fingers change its size."""
    context = chromium.new_context(viewport={"width": 1024, "height": 768}, has_touch=True)
    page = context.new_page()
    page.goto(visit.url)
    page.locator("#name", has_text="to decide").wait_for()
    page.keyboard.press("z")
    page.wait_for_timeout(700)
    box = page.locator("#stage").bounding_box()
    x, y = box["x"] + box["width"] * 0.5, box["y"] + box["height"] * 0.5
    session = context.new_cdp_session(page)

    def touch(kind: str, *points: tuple[float, float]) -> None:
        session.send(
            "Input.dispatchTouchEvent",
            {
                "type": kind,
                "touchPoints": [{"x": a, "y": b, "id": k} for k, (a, b) in enumerate(points)],
            },
        )

    def seen() -> np.ndarray:
        page.wait_for_timeout(700)
        shot = page.locator("#view").screenshot()
        return cv2.imdecode(np.frombuffer(shot, np.uint8), cv2.IMREAD_COLOR).astype(int)

    first = seen()
    touch("touchStart", (x, y))
    for k in range(1, 9):
        touch("touchMove", (x - 15 * k, y - 6 * k))
    touch("touchEnd")
    assert np.abs(seen() - first).mean() > 2
    before = page.locator("#zoom-now").inner_text()
    touch("touchStart", (x - 40, y), (x + 40, y))
    for k in range(1, 9):
        touch("touchMove", (x - 40 - 12 * k, y), (x + 40 + 12 * k, y))
    touch("touchEnd")
    visit.eventually(700, lambda: page.locator("#zoom-now").inner_text() != before)
    context.close()


def test_a_reload_keeps_strokes_numbers_and_decision(visit: Any) -> None:
    page = visit.page
    page.keyboard.press("b")
    page.keyboard.press("h")
    visit.drag((0.2, 0.3), (0.35, 0.4))
    path = visit.folder / "results" / "gate.blendkit.json"
    for _ in range(100):
        if path.exists() and (json.loads(path.read_text())["strokes"] or {}).get("strokes"):
            break
        page.wait_for_timeout(100)
    page.keyboard.press("Escape")
    page.keyboard.press("j")
    door = page.locator("#settings")
    number = door.get_by_label("Veil error")
    door.locator("summary", has_text="plate").click()
    number.fill("0.25")
    number.press("Enter")
    page.keyboard.press("Escape")
    wanted = {"plate": {"veil_error": 0.25}}
    visit.eventually(100, lambda: json.loads(path.read_text())["settings"] == wanted)
    page.keyboard.press("s")
    visit.eventually(100, lambda: json.loads(path.read_text())["decision"] == "sent-back")
    kept = json.loads(path.read_text())
    assert kept["strokes"]["strokes"]
    assert kept["settings"] == wanted
    page.reload()
    visit.ready()
    assert page.locator("#decide-sent-back").get_attribute("aria-pressed") == "true"
    page.keyboard.press("j")
    assert number.is_visible(), "the fold of what was changed is open"
    assert number.input_value() == "0.25"
    page.keyboard.press("Escape")
    page.keyboard.press("b")
    undo = page.get_by_role("button", name="Undo")
    undo.wait_for()
    assert json.loads(path.read_text()) == kept
    page.keyboard.press("Control+z")
    for _ in range(100):
        now = json.loads(path.read_text())["strokes"]
        if not (now or {}).get("strokes"):
            break
        page.wait_for_timeout(100)
    assert not (now or {}).get("strokes"), "a stroke made before the reload can be undone after it"
