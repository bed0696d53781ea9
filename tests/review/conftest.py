"""A folder with pairs that take no time to make: a bough drawn over a wall, blurred by a disc."""

import json
from pathlib import Path

import numpy as np
import pytest

from blendkit.files import write_labels, write_picture
from blendkit.filters.disc import disc_blur
from blendkit.frame import Capture, Float, Frame


def drawn_pair(size: tuple[int, int] = (300, 200), seed: int = 0) -> tuple[Frame, Frame]:
    """Return (background, foreground) frames: one dark bough before a textured wall."""
    rng = np.random.default_rng(seed)
    width, height = size
    wall = disc_blur(rng.uniform(0.1, 0.6, (height, width, 3)).astype(np.float32), 3)
    bough = np.zeros((height, width), np.float32)
    y, x = np.indices(bough.shape)
    bough[np.abs(y - 0.3 * height - 0.2 * x) < 0.03 * height] = 1
    veil = disc_blur(bough, 0.06 * width)[..., None]
    soft = disc_blur(wall, 0.015 * width)
    wide, stopped = Capture(f_number=2.8, iso=100.0), Capture(f_number=16.0, iso=800.0)
    near = 0.03 * bough[..., None] + (1 - bough[..., None]) * wall
    return (
        Frame(_as_float(soft * (1 - veil) + 0.03 * veil), wide, "wide"),
        Frame(_as_float(near), stopped, "stopped"),
    )


def _as_float(pixels: Float) -> Float:
    return np.asarray(pixels, np.float32)


def report_of(background: Path, foreground: Path, result: Path, flags: list[dict]) -> dict:
    """Return a report as a merge writes it, as far as the page reads it."""
    return {
        "schema": "blendkit.report/1",
        "inputs": [
            {"path": str(background), "role": "background"},
            {"path": str(foreground), "role": "foreground"},
        ],
        "alignment": {"matrix": [[1, 0, 2.0], [0, 1, -1.0], [0, 0, 1]]},
        "foreground": {"coverage": 0.04, "blur_disc_px": [17.0, 18.0, 20.0]},
        "flags": flags,
        "output": {"path": str(result)},
    }


FLAG = {
    "id": 1,
    "kind": "clipped",
    "severity": "warn",
    "box": [40, 30, 60, 50],
    "area_px": 3000,
    "message": "2.4 % of the background frame is clipped",
    "advice": "expose about 1 EV less",
}


@pytest.fixture
def shoot(tmp_path: Path) -> Path:
    """Return a folder with two results with reports: "calm" without flags, "loud" with one."""
    for seed, (name, flags) in enumerate((("calm", []), ("loud", [FLAG]))):
        background, foreground = drawn_pair(seed=seed)
        paths = [tmp_path / f"{name}-wide.tif", tmp_path / f"{name}-stopped.tif"]
        for path, frame in zip(paths, (background, foreground), strict=True):
            write_picture(path, frame.pixels, like=frame)
        result = tmp_path / f"{name}.tif"
        write_picture(result, background.pixels, like=background)
        labels = np.zeros((200, 300), np.uint8)
        labels[30:80, 40:100] = bool(flags)
        write_labels(tmp_path / f"{name}.flags.png", labels)
        write_labels(tmp_path / f"{name}.sources.png", labels + np.uint8(1))
        document = report_of(*paths, result, flags)
        (tmp_path / f"{name}.report.json").write_text(json.dumps(document))
    return tmp_path
