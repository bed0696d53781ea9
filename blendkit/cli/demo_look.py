"""One picture that shows a merge: frames and result side by side, and the halo at 100 %."""

from pathlib import Path

import cv2
import numpy as np
from PIL import Image

from blendkit.files import atomic
from blendkit.frame import Float
from blendkit.merge import Merged
from blendkit.report.captions import captioned, side_by_side, stacked
from blendkit.report.screen import Picture, on_screen
from blendkit.simulate import SimulatedPair
from blendkit.simulate.metrics import halo

_PANEL_PX = 640
NAMES = ("background frame", "foreground frame", "result")


def look(path: Path, pair: SimulatedPair, merged: Merged) -> None:
    """Write the picture.

    Parameters
    ----------
    path : a .png file.
    pair : the frames, and the truth that tells where the halo is.
    merged : the result and the aligned foreground frame.
    """
    like, truth = pair.background, pair.truth
    views = (like.pixels, merged.aligned, merged.pixels)
    x, y, side = busiest(halo(truth).astype(np.float32) * truth.veil_coverage, _PANEL_PX)
    panels, crops = [], []
    for name, view in zip(NAMES, views, strict=True):
        panels.append(captioned(on_screen(view, like, long_side_px=_PANEL_PX), name))
        crop = on_screen(view[y : y + side, x : x + side], like, long_side_px=side)
        crops.append(captioned(_filled_up(crop), f"{name}, 100 %"))
    whole = stacked([side_by_side(panels), side_by_side(crops)])
    with atomic(path) as temporary:
        Image.fromarray(whole).save(temporary, format="PNG", dpi=(96, 96))


def busiest(weight: Float, side_px: int) -> tuple[int, int, int]:
    """Return (x, y, side) of the square, at most side_px wide, that holds most weight.

    Examples
    --------
    >>> weight = np.zeros((60, 90), np.float32)
    >>> weight[30:40, 70:80] = 1
    >>> x, y, side = busiest(weight, 20)
    >>> bool(weight[y : y + side, x : x + side].sum() == weight.sum()), side
    (True, 20)
    """
    side = min(side_px, *weight.shape)
    sums = cv2.boxFilter(
        weight, -1, (side, side), anchor=(0, 0), normalize=False, borderType=cv2.BORDER_CONSTANT
    )
    inside = sums[: weight.shape[0] - side + 1, : weight.shape[1] - side + 1]
    row, column = np.unravel_index(int(np.argmax(inside)), inside.shape)
    return int(column), int(row), side


def _filled_up(crop: Picture) -> Picture:
    missing = _PANEL_PX - crop.shape[1]
    return np.pad(crop, ((0, 0), (0, max(missing, 0)), (0, 0)), constant_values=255)
