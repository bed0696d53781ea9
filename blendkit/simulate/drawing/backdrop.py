"""Backgrounds are painted in 8-bit sRGB, where anti-aliased drawing is fast, then linearised."""

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from blendkit.frame import Float
from blendkit.simulate.drawing.canvas import Canvas, blank, linear_from_srgb, noise_field

Tint = tuple[float, float, float]
"""sRGB-encoded red, green, blue, 0 to 255."""
Points = NDArray[np.float64]


@dataclass(frozen=True, eq=False, slots=True)
class Backdrop:
    """A picture being painted, uint8 (H, W, 3) sRGB, with its canvas geometry and its chance.

    horizon: row of the horizon in px; unit_px as on the canvas.
    """

    paint: NDArray[np.uint8]
    canvas: Canvas
    rng: np.random.Generator

    @property
    def unit_px(self) -> float:
        """Size of one unit in px."""
        return self.canvas.unit_px

    @property
    def size(self) -> tuple[int, int]:
        """(width, height) of the canvas."""
        return self.paint.shape[1], self.paint.shape[0]

    def row(self, share: float) -> float:
        """Return the canvas row at a share of the frame's height, 0 = top, 1 = bottom."""
        margin = self.canvas.margin_px
        return margin + share * (self.size[1] - 2 * margin)

    def wash(self, mask: Float, tint: Tint) -> None:
        """Paint a tint through a mask (H, W), 0 to 1, dithered so that gradients do not band."""
        share = mask[..., None]
        washed = self.paint * (1 - share) + np.array(tint, np.float32) * share
        washed += self.rng.uniform(-0.5, 0.5, washed.shape) * (share > 0)
        np.copyto(self.paint, np.clip(np.rint(washed), 0, 255).astype(np.uint8))

    def finished(self, *, grain: float = 0.06) -> Canvas:
        """Return the canvas filled with the picture in linear light, its dark parts textured."""
        light = linear_from_srgb(self.paint.astype(np.float32) / 255)
        fine = noise_field(light.shape[:2], 6 * self.unit_px, self.rng, octaves=3)
        dark = (1 - np.sqrt(light.mean(axis=2))) ** 1.5
        self.canvas.color[:] = light * np.exp(grain * fine * dark)[..., None]
        self.canvas.coverage[:] = 1
        return self.canvas


def scaled(tint: Tint, factor: float) -> Tint:
    """Return a tint made darker or lighter."""
    return tint[0] * factor, tint[1] * factor, tint[2] * factor


def mixed(first: Tint, second: Tint, share: float) -> Tint:
    """Return a tint between two, share of the second."""
    red, green, blue = ((1 - share) * a + share * b for a, b in zip(first, second, strict=True))
    return red, green, blue


def open_sky(
    size: tuple[int, int],
    unit_px: float,
    rng: np.random.Generator,
    *,
    stops: tuple[tuple[float, Tint], ...],
    clouds: float = 0.4,
    cloud_tint: Tint = (250, 236, 220),
) -> Backdrop:
    """Return a backdrop of sky: tints at shares of the frame's height, and flat soft clouds."""
    canvas = blank(size, unit_px)
    height, width = canvas.coverage.shape
    rows = (np.arange(height) - canvas.margin_px) / size[1]
    shares = [share for share, _ in stops]
    columns = [np.interp(rows, shares, [tint[i] for _, tint in stops]) for i in range(3)]
    gradient = np.stack(columns, axis=1)[:, None, :] + rng.uniform(-0.5, 0.5, (height, width, 3))
    sky = Backdrop(np.clip(np.rint(gradient), 0, 255).astype(np.uint8), canvas, rng)
    if clouds > 0:
        coarse = noise_field((height, width // 3 + 2), 150 * unit_px, rng, octaves=5)
        wide = cv2.resize(coarse, (width, height), interpolation=cv2.INTER_CUBIC)
        sky.wash(clouds * np.clip(0.5 * wide.astype(np.float32) - 0.1, 0, 1), cloud_tint)
    return sky


DUSK = (
    (0.0, (118, 142, 178)),
    (0.3, (170, 178, 190)),
    (0.5, (232, 204, 170)),
    (0.62, (246, 190, 130)),
)
DAY = ((0.0, (128, 166, 214)), (0.35, (178, 204, 230)), (0.6, (226, 232, 234)))
OVERCAST = ((0.0, (196, 204, 212)), (0.5, (222, 224, 222)), (0.7, (232, 230, 224)))


def dabs(
    backdrop: Backdrop,
    spots: Points,
    *,
    size_px: Points,
    tints: Points,
    slender: float = 0.5,
    angle: Points | None = None,
) -> None:
    """Paint pointed leaf shapes: spots (n, 2), size_px (n,) long, tints (n, 3) sRGB."""
    rng = backdrop.rng
    turn = rng.uniform(0, np.pi, len(spots)) if angle is None else angle
    for shape, tint in zip(leaf_shapes(spots, size_px, turn, slender), tints, strict=True):
        cv2.fillConvexPoly(backdrop.paint, shape, tint.tolist(), cv2.LINE_AA, 4)


def leaf_shapes(spots: Points, size_px: Points, turn: Points, slender: float) -> NDArray[np.int32]:
    """Return outlines (n, 8, 2) of leaves in 1/16 px, pointed at both ends."""
    t = np.array([-0.5, -0.28, 0.0, 0.28, 0.5, 0.28, 0.0, -0.28])
    s = np.array([0.0, 0.33, 0.5, 0.36, 0.0, -0.36, -0.5, -0.33]) * slender
    cos, sin = np.cos(turn)[:, None], np.sin(turn)[:, None]
    x = spots[:, :1] + size_px[:, None] * (t * cos - s * sin)
    y = spots[:, 1:] + size_px[:, None] * (t * sin + s * cos)
    return np.rint(np.stack([x, y], axis=2) * 16).astype(np.int32)
