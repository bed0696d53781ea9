"""Painting, previews and merges, in a real browser."""

import json
import shutil
import subprocess
import sys
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import pytest
import tifffile

SIZE = (600, 400)
SLOW_MS = 120_000


@pytest.fixture
def shoot(tmp_path: Path, drawn: Path) -> Path:
    """Return a folder with one pair that was never merged."""
    folder = tmp_path / "shoot"
    shutil.copytree(drawn, folder)
    return folder


def sidecar(visit: Any) -> dict[str, Any]:
    path = visit.folder / "results" / "gate.blendkit.json"
    return json.loads(path.read_text()) if path.exists() else {}


def strokes(visit: Any) -> list[dict[str, Any]]:
    return (sidecar(visit).get("strokes") or {}).get("strokes", [])


def preview_is_ready(visit: Any) -> None:
    visit.page.locator("#preview-state", has_text="The preview shows all strokes.").wait_for(
        timeout=SLOW_MS
    )


def preview(visit: Any, label: str = "Preview") -> np.ndarray:
    """Return the newest preview picture, as the server sent it."""
    data = visit.page.evaluate(
        """async (label) => {
          const id = [...document.querySelector("#first").options]
            .find((one) => one.text === label).value;
          const answer = await fetch(`pictures/${id}`);
          return [...new Uint8Array(await answer.arrayBuffer())];
        }""",
        label,
    )
    return cv2.imdecode(np.array(data, np.uint8), cv2.IMREAD_COLOR).astype(int)


def touched(matte: np.ndarray, stroke: dict[str, Any]) -> np.ndarray:
    """Return the boughs that a stroke touches, with the surroundings that they veil."""
    pieces = cv2.dilate((matte[..., 0] > 3).astype(np.uint8), np.ones((7, 7), np.uint8))
    mark = np.zeros_like(pieces)
    line = np.rint(stroke["points"]).astype(np.int32)
    cv2.polylines(mark, [line], isClosed=False, color=1, thickness=round(stroke["diameter_px"]))
    _, labels = cv2.connectedComponents(pieces)
    under = np.isin(labels, np.unique(labels[(mark > 0) & (labels > 0)])) & (labels > 0)
    return cv2.dilate((under | (mark > 0)).astype(np.uint8), np.ones((61, 61), np.uint8)) > 0


def test_a_stroke_becomes_data_in_px_of_the_picture_and_is_undone(visit: Any) -> None:
    page = visit.page
    page.keyboard.press("b")
    page.locator("#brush-size").fill("30")
    page.locator("#brush-size").press("Tab")
    visit.drag((0.3, 0.3), (0.5, 0.6))
    visit.eventually(900, lambda: len(strokes(visit)) == 1)
    (stroke,) = strokes(visit)
    assert (stroke["role"], stroke["diameter_px"]) == ("foreground", 30)
    assert sidecar(visit)["strokes"]["size"] == list(SIZE)
    # Shares of the stage to px: the whole picture is fitted into it with a rim.
    box = page.locator("#stage").bounding_box()
    scale = min(box["width"] / (600 * 1.016), box["height"] / (400 + 600 * 0.016))
    for point, (u, v) in ((stroke["points"][0], (0.3, 0.3)), (stroke["points"][-1], (0.5, 0.6))):
        assert point[0] == pytest.approx(300 + (u - 0.5) * box["width"] / scale, abs=2.5)
        assert point[1] == pytest.approx(200 + (v - 0.5) * box["height"] / scale, abs=2.5)
    page.keyboard.press("h")
    visit.drag((0.6, 0.3), (0.7, 0.3))
    visit.eventually(
        700, lambda: [one["role"] for one in strokes(visit)] == ["foreground", "background"]
    )
    for _ in range(2):
        page.keyboard.press("Control+z")
    visit.eventually(900, lambda: strokes(visit) == [])
    page.keyboard.press("Control+y")
    visit.eventually(700, lambda: len(strokes(visit)) == 1)
    page.reload()
    visit.ready()
    page.keyboard.press("b")
    page.get_by_role("button", name="Undo").click()
    visit.eventually(700, lambda: strokes(visit) == [])


def test_straight_lines_wheel_and_keys_of_the_brush(visit: Any) -> None:
    page = visit.page
    page.keyboard.press("b")
    size = page.locator("#brush-size")
    before = float(size.input_value())
    page.keyboard.press("0")
    larger = float(size.input_value())
    assert larger > before
    page.mouse.move(400, 400)
    page.mouse.wheel(0, 120)
    assert float(size.input_value()) < larger
    visit.drag((0.3, 0.3), (0.31, 0.3))
    page.wait_for_timeout(500)
    box = page.locator("#stage").bounding_box()
    page.keyboard.down("Shift")
    page.mouse.click(box["x"] + 0.6 * box["width"], box["y"] + 0.7 * box["height"])
    page.keyboard.up("Shift")
    visit.eventually(900, lambda: len(strokes(visit)) == 2)
    first, line = strokes(visit)
    assert line["points"][0] == pytest.approx(first["points"][-1], abs=0.2)
    assert len(line["points"]) == 2


def test_a_pen_pressed_harder_paints_wider(visit: Any) -> None:
    page = visit.page
    page.keyboard.press("b")
    page.evaluate(
        """() => {
          const ink = document.querySelector("#ink");
          const box = ink.getBoundingClientRect();
          const send = (type, x, pressure) => ink.dispatchEvent(new PointerEvent(type, {
            pointerId: 7, pointerType: "pen", pressure, bubbles: true, isPrimary: true,
            buttons: type === "pointerup" ? 0 : 1, clientX: box.left + x, clientY: box.top + 300}));
          ink.setPointerCapture = () => {};
          send("pointerdown", 300, 0.2);
          for (let x = 300; x <= 500; x += 10) send("pointermove", x, 0.2 + (x - 300) / 250);
          send("pointerup", 500, 0);
        }"""
    )
    visit.eventually(900, lambda: len(strokes(visit)) >= 4)
    widths = [one["diameter_px"] for one in strokes(visit)]
    assert len(widths) >= 4
    assert widths == sorted(widths)
    page.keyboard.press("Control+z")
    visit.eventually(700, lambda: strokes(visit) == [])  # one press of the pen is undone at once


def test_by_keyboard_alone_a_pair_is_painted_and_decided(visit: Any) -> None:
    page = visit.page
    page.keyboard.press("b")
    for _ in range(4):
        page.keyboard.press("ArrowLeft")
    page.keyboard.press("Enter")
    for _ in range(5):
        page.keyboard.press("ArrowUp")
    page.keyboard.press("Enter")
    visit.eventually(900, lambda: len(strokes(visit)) == 1)
    (stroke,) = strokes(visit)
    assert stroke["points"][0][0] == stroke["points"][-1][0]
    assert stroke["points"][0][1] - stroke["points"][-1][1] == pytest.approx(
        5 * stroke["diameter_px"] / 2, abs=1
    )
    page.keyboard.press("Escape")
    page.keyboard.press("s")
    visit.eventually(700, lambda: sidecar(visit)["decision"] == "sent-back")


def test_two_tabs_do_not_corrupt_the_sidecar(visit: Any) -> None:
    other = visit.another()
    other.locator("#name", has_text="gate").wait_for()
    for page in (visit.page, other):
        page.keyboard.press("b")
    # Each page learns of the other's strokes without being asked.
    for page, onlooker, row in ((visit.page, other, 0.25), (other, visit.page, 0.75)):
        assert inked_px(onlooker, row) == 0
        dab(page, 0.5, row)
        visit.eventually(300, lambda page=onlooker, row=row: inked_px(page, row) > 100)
    for k in range(4):
        for page, row in ((visit.page, 0.35), (other, 0.6)):
            dab(page, 0.3 + 0.1 * k, row)
    visit.eventually(1500, lambda: len(strokes(visit)) == 10)


def dab(page: Any, u: float, v: float) -> None:
    """Click on the stage, the place as shares of its size."""
    box = page.locator("#stage").bounding_box()
    page.mouse.click(box["x"] + u * box["width"], box["y"] + v * box["height"])


def inked_px(page: Any, v: float) -> int:
    """Return how many px of strokes are drawn at a height of the stage, a share of it."""
    found = page.evaluate(
        """(share) => {
          const ink = document.querySelector("#ink");
          const top = Math.round(share * ink.height) - 10;
          // Of a copy: the page's own canvas is not made to be read.
          const copy = new OffscreenCanvas(ink.width, 20);
          const pen = copy.getContext("2d", { willReadFrequently: true });
          pen.drawImage(ink, 0, -top);
          const { data } = pen.getImageData(0, 0, ink.width, 20);
          return data.filter((code, at) => at % 4 === 3 && code > 0).length;
        }""",
        v,
    )
    return int(found)


def test_ties_are_placed_in_both_frames(visit: Any) -> None:
    page = visit.page
    page.keyboard.press("t")
    box = page.locator("#stage").bounding_box()
    place = (box["x"] + 0.6 * box["width"], box["y"] + 0.5 * box["height"])
    page.mouse.click(*place)
    assert "same thing in the foreground frame" in page.locator("#slip").inner_text()
    assert page.locator("#first option:checked").inner_text() == "Foreground frame as taken"
    page.wait_for_timeout(500)
    page.mouse.click(place[0] + 9, place[1])
    page.wait_for_timeout(900)
    ((one, other),) = sidecar(visit)["ties"]
    assert other[0] - one[0] == pytest.approx(9 * 600 * 1.016 / box["width"], rel=0.35)
    page.get_by_role("button", name="Remove tie 1").click()
    visit.eventually(700, lambda: sidecar(visit)["ties"] == [])
    page.keyboard.press("Space")  # the other way round: the foreground frame first
    page.wait_for_timeout(500)
    page.mouse.click(place[0] + 9, place[1])
    page.wait_for_timeout(500)
    page.mouse.click(*place)
    visit.eventually(900, lambda: len(sidecar(visit)["ties"]) == 1)
    assert sidecar(visit)["ties"][0] == [pytest.approx(one, abs=1.5), pytest.approx(other, abs=1.5)]


def test_the_preview_changes_where_painted_and_nowhere_else(visit: Any) -> None:
    page = visit.page
    page.keyboard.press("b")
    preview_is_ready(visit)
    before, matte = preview(visit), preview(visit, "Preview of the matte")
    page.keyboard.press("h")
    page.locator("#brush-size").fill("24")
    page.locator("#brush-size").press("Tab")
    visit.drag((0.2, 0.25), (0.3, 0.32), steps=5)
    page.wait_for_timeout(300)
    preview_is_ready(visit)
    after = preview(visit)
    (stroke,) = strokes(visit)
    changed = np.abs(after - before).max(axis=2) > 3
    near = touched(matte, stroke)
    assert changed.any()
    assert not changed[~near].any()
    page.keyboard.press("Control+z")
    page.wait_for_timeout(300)
    preview_is_ready(visit)
    back = np.abs(preview(visit) - before).max(axis=2)
    assert (back <= 3).all(), "where it had changed too"


def test_the_merge_in_full_is_the_command_lines_bit_for_bit(visit: Any) -> None:
    page = visit.page
    page.keyboard.press("b")
    visit.drag((0.1, 0.2), (0.4, 0.3))
    visit.drag((0.1, 0.5), (0.4, 0.5))
    page.wait_for_timeout(900)
    page.keyboard.press("Escape")
    page.keyboard.press("Shift+Enter")
    page.locator("#slip", has_text="Merging at full size").wait_for()
    page.locator("#slip", has_text="Stop").wait_for()
    result = visit.folder / "results" / "gate.tif"
    page.locator("#first option", has_text="Result").first.wait_for(
        state="attached", timeout=SLOW_MS
    )
    document = sidecar(visit)
    painted = visit.folder / "painted.json"
    painted.write_text(json.dumps(document["strokes"]))
    theirs = visit.folder / "theirs.tif"
    frames = [str(visit.folder / f"gate-{which}.tif") for which in ("wide", "stopped")]
    run = "from blendkit.cli.main import main; main()"
    command = [
        sys.executable,
        "-c",
        run,
        "merge",
        "--background",
        frames[0],
        "--foreground",
        frames[1],
    ]
    done = subprocess.run(
        [*command, "-o", str(theirs), "--strokes", str(painted)],
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 0, done.stderr
    ours, wanted = (cv2.imread(str(path), cv2.IMREAD_UNCHANGED) for path in (result, theirs))
    assert ours.dtype == np.uint16
    assert np.array_equal(ours, wanted)


def test_a_merge_can_be_stopped_and_leaves_nothing(visit: Any) -> None:
    page = visit.page
    page.keyboard.press("Shift+Enter")
    page.get_by_role("button", name="Stop").click()
    page.get_by_role("button", name="Stop").wait_for(state="detached")
    page.wait_for_timeout(3000)
    left = [path.name for path in visit.folder.rglob("*") if path.is_file()]
    assert not any(".part" in name for name in left)
    assert not (visit.folder / "results" / "gate.tif").exists()


@pytest.mark.parametrize("size", [(37, 21), (1031, 517)])
def test_pictures_of_odd_sizes_are_shown_whole(
    visiting: Any, write_pair: Any, tmp_path: Path, size: tuple[int, int]
) -> None:
    folder = tmp_path / "odd"
    folder.mkdir()
    write_pair(folder, "odd", size, suffix=".png")
    with visiting(folder, (1280, 800)) as visit:
        visit.page.locator("#way").select_option("alone")
        for name in ("corner", "shown-left"):
            visit.page.evaluate("(name) => { document.getElementById(name).hidden = true; }", name)
        visit.page.wait_for_timeout(1200)
        shot = visit.page.locator("#view").screenshot()
    shown = cv2.imdecode(np.frombuffer(shot, np.uint8), cv2.IMREAD_COLOR).astype(int)
    inside = np.argwhere(np.abs(shown - 119).max(axis=2) > 1)
    height, width = np.ptp(inside, axis=0) + 1
    assert width / height == pytest.approx(size[0] / size[1], rel=0.04)
    assert max(width / shown.shape[1], height / shown.shape[0]) > 0.95


def test_a_picture_of_45_megapixels_opens_and_shows_its_pixels(
    visiting: Any, drawn: Path, tmp_path: Path
) -> None:
    """A tile repeated: at 100 % the middle must be the tile's own pixels, sharp."""
    width, height = 8192, 5464
    folder = tmp_path / "large"
    folder.mkdir()
    for which in ("wide", "stopped"):
        tile = tifffile.imread(drawn / f"gate-{which}.tif")
        rows, columns = -(-height // tile.shape[0]), -(-width // tile.shape[1])
        large = np.tile(tile, (rows, columns, 1))[:height, :width]
        tifffile.imwrite(folder / f"large-{which}.tif", large, photometric="rgb")
    (folder / "pairs.toml").write_text(
        '[[pair]]\nname = "large"\nbackground = "large-wide.tif"\n'
        'foreground = "large-stopped.tif"\n'
    )
    codes = (tifffile.imread(drawn / "gate-stopped.tif") >> 8).astype(np.uint8)
    around = np.tile(cv2.cvtColor(codes, cv2.COLOR_RGB2BGR), (2, 2, 1))
    with visiting(folder) as visit:
        visit.page.locator("#way").select_option("alone")
        visit.page.locator("#first").select_option(label="Foreground frame")
        visit.page.keyboard.press("z")
        visit.eventually(2500, lambda: visit.page.locator("#zoom-now").inner_text() == "100 %")

        def likeness() -> float:
            shot = visit.page.locator("#view").screenshot()
            shown = cv2.imdecode(np.frombuffer(shot, np.uint8), cv2.IMREAD_COLOR)
            found = cv2.matchTemplate(around, shown[300:460, 400:620], cv2.TM_CCOEFF_NORMED)
            return float(found.max())

        # Until its last tiles have come, the view fills their place with smaller ones enlarged.
        visit.eventually(0, lambda: likeness() > 0.97)
