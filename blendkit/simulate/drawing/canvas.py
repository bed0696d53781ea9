"""The canvas that scenes are drawn on: linear colour and coverage, larger than the frame."""

from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from blendkit.frame import Float
from blendkit.simulate.scene import Layer, Role

Color = tuple[float, float, float]
"""Linear red, green, blue."""


@dataclass(frozen=True, eq=False, slots=True)
class Canvas:
    """Arrays that painters draw into, in place.

    color: float32 (H, W, 3) linear; coverage: float32 (H, W).
    margin_px: border beyond the frame on each side.
    unit_px: what a px of an 800 px high frame measures here; drawn sizes are multiples of it.
    """

    color: Float
    coverage: Float
    margin_px: int
    unit_px: float

    @property
    def frame_size(self) -> tuple[int, int]:
        """(width, height) of the frame inside the canvas."""
        height, width = self.coverage.shape
        return width - 2 * self.margin_px, height - 2 * self.margin_px

    def layer(self, distance_m: float, role: Role, name: str) -> Layer:
        """Return what was drawn as a layer."""
        return Layer(self.color, self.coverage, distance_m, role, name)


def margin_for(size: tuple[int, int], unit_px: float) -> int:
    """Return a border wide enough for discs of 160 units and shifts of 20 units."""
    return int(np.ceil(min(100 * unit_px, 0.5 * max(size))))


def unit_for(size: tuple[int, int]) -> float:
    """Return the unit of a frame: 1 px where its short side has 800."""
    return min(size) / 800


def blank(size: tuple[int, int], unit_px: float) -> Canvas:
    """Return an empty canvas for a frame of size (width, height)."""
    margin = margin_for(size, unit_px)
    shape = (size[1] + 2 * margin, size[0] + 2 * margin)
    return Canvas(np.zeros((*shape, 3), np.float32), np.zeros(shape, np.float32), margin, unit_px)


def lay_over(canvas: Canvas, corner: tuple[int, int], color: Float, covered: Float) -> None:
    """Lay a piece of straight colour (h, w, 3) and coverage (h, w) over a canvas, in place.

    corner: (x, y) of its top-left px on the canvas; the piece must fit.
    """
    rows = slice(corner[1], corner[1] + covered.shape[0])
    columns = slice(corner[0], corner[0] + covered.shape[1])
    under = canvas.coverage[rows, columns]
    left = under * (1 - covered)
    total = left + covered
    share = (covered / np.maximum(total, 1e-6))[..., None]
    canvas.color[rows, columns] += share * (color - canvas.color[rows, columns])
    canvas.coverage[rows, columns] = total


def noise_field(
    shape: tuple[int, int], cell_px: float, rng: np.random.Generator, *, octaves: int = 4
) -> Float:
    """Return smooth random values, about normal (mean 0, sigma 1), of several octaves.

    cell_px: size of the coarsest features; every octave halves it and weighs 0.6 times as much.
    """
    total = np.zeros(shape, np.float32)
    energy = 0.0
    for octave in range(octaves):
        cell = max(cell_px / 2**octave, 1.0)
        coarse = (int(shape[1] / cell) + 4, int(shape[0] / cell) + 4)
        values = rng.standard_normal((coarse[1], coarse[0]), dtype=np.float32)
        start = rng.uniform(0, 1, 2)
        place = np.array([[cell, 0, -cell * (1 + start[0])], [0, cell, -cell * (1 + start[1])]])
        weight = 0.6**octave
        total += weight * cv2.warpAffine(values, place, shape[::-1], flags=cv2.INTER_CUBIC)
        energy += 0.5 * weight**2
    return np.asarray(total / np.sqrt(energy), np.float32)


def linear_from_srgb(encoded: NDArray[np.floating[Any]]) -> Float:
    """Return linear light of sRGB-encoded values 0..1 (IEC 61966-2-1)."""
    low = encoded <= 0.04045
    return np.where(low, encoded / 12.92, ((encoded + 0.055) / 1.055) ** 2.4).astype(np.float32)


def srgb_from_linear(light: Float) -> Float:
    """Return sRGB-encoded values of linear light, clipped to 0..1 (IEC 61966-2-1)."""
    value = np.clip(light, 0, 1)
    high = 1.055 * np.maximum(value, 1e-8) ** (1 / 2.4) - 0.055
    return np.where(value <= 0.0031308, 12.92 * value, high).astype(np.float32)
