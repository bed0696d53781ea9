"""Leaves as they grow: on thin twigs, in several colours, folded along the rib, lit through.

One half of a leaf is often as bright as the sky behind it while the other is dark; a network that
has only seen leaves of one colour each takes the dark half for the leaf.
"""

import cv2
import numpy as np
from lines import SUPER

from blendkit.frame import Float

Palette = list[np.ndarray]
"""Colours, each (3,), linear."""
Lines = list[tuple[np.ndarray, np.ndarray]]
"""Points (n, 2) and widths (n,) of each line, px."""

_COLOR_SUPER = 2
_ALONG = np.linspace(0, 1, 9)


def hung(lines: Lines, size_px: float, rng: np.random.Generator) -> list[np.ndarray]:
    """Return leaves along the thin parts of lines and at their ends.

    Each leaf is (3, n, 2): one edge, the rib and the other edge, from stalk to tip.
    """
    every_px = size_px * np.exp(rng.uniform(np.log(0.35), np.log(2.0)))
    thin_px = size_px * rng.uniform(0.15, 0.6)
    slender, blunt = rng.uniform(0.15, 0.5), rng.uniform(0.5, 1.3)
    leaves = []
    for points, widths in lines:
        ways = np.diff(points, axis=0)
        steps = np.hypot(ways[:, 0], ways[:, 1])
        grows = (widths[1:] <= max(thin_px, 1.5)) & (
            rng.uniform(size=len(steps)) < steps / every_px
        )
        for index in [*np.flatnonzero(grows), len(ways) - 1]:
            heading = np.arctan2(ways[index, 1], ways[index, 0])
            heading += rng.choice([-1, 1]) * rng.uniform(0.1, 1.5)
            length = size_px * rng.uniform(0.5, 1.4)
            foot = points[index] + rng.normal(0, 0.5, 2)
            leaves.append(leaf(foot, heading, length, slender * rng.uniform(0.4, 1.1), blunt, rng))
    return leaves


def laid_leaves(
    boughs: tuple[Float, Float],
    leaves: list[np.ndarray],
    palette: Palette,
    rng: np.random.Generator,
) -> tuple[Float, Float]:
    """Return colour and coverage of boughs with leaves over them.

    boughs: colour (h, w, 3) and coverage (h, w).
    """
    color, cover = boughs
    height, width = cover.shape
    fine = np.zeros((height * SUPER, width * SUPER), np.uint8)
    paint = cv2.resize(color, None, fx=_COLOR_SUPER, fy=_COLOR_SUPER)
    variety, fold = rng.uniform(0, 0.5), rng.uniform(0, 0.7)
    turning, ribbed = rng.uniform() < 0.4, rng.uniform(0.7, 1.6)
    for leaf in leaves:
        own = palette[int(rng.integers(len(palette)))]
        own = own * np.exp(rng.normal(0, variety) + rng.normal(0, 0.2 * variety, 3))
        tip = palette[int(rng.integers(len(palette)))] if turning else own
        lit = np.exp(rng.uniform(-fold, fold))
        cv2.fillPoly(fine, [_scaled(_outline(leaf), SUPER)], 255)
        for edge, light in ((leaf[0], lit), (leaf[2], 1 / lit)):
            _paint_half(paint, edge, leaf[1], (own * light, tip * light))
        rib = _scaled(leaf[1], _COLOR_SUPER)
        cv2.polylines(paint, [rib], False, _tint(ribbed * own), 1, cv2.LINE_AA)
    leafy = cv2.resize(fine, (width, height), interpolation=cv2.INTER_AREA) / np.float32(255)
    own_color = cv2.resize(paint, (width, height), interpolation=cv2.INTER_AREA)
    mixed = own_color * leafy[..., None] + color * (1 - leafy[..., None])
    return mixed.astype(np.float32), (leafy + cover * (1 - leafy)).astype(np.float32)


def patched(color: Float, field: Float, rng: np.random.Generator) -> Float:
    """Return bark in patches, as lichen, paper bark and sun spots make them, or as it was.

    field: noise (h, w), zero mean, unit deviation.
    """
    if rng.uniform() < 0.5:
        return color
    share = 1 / (1 + np.exp(-(field - rng.uniform(0, 1.5)) * rng.uniform(2, 12)))
    ratio = np.exp(rng.normal(0.6, 0.7) + rng.normal(0, 0.2, 3))
    return np.asarray(color * (1 + share[..., None] * (ratio - 1)), np.float32)


def leaf(
    foot: np.ndarray,
    heading: float,
    length_px: float,
    slender: float,
    blunt: float,
    rng: np.random.Generator,
    *,
    bend: float = 0.12,
) -> np.ndarray:
    """Return a leaf's two edges with the rib between them, (3, n, 2), from stalk to tip.

    heading: radian, from the right, clockwise on the picture.  slender: width over length.
    blunt: below 1 widest toward the tip.  bend: how far it is bowed, as a share of its length.
    """
    half = slender * np.sin(np.pi * _ALONG**blunt)
    bend = rng.normal(0, bend) * np.sin(np.pi * _ALONG)
    # A leaf seen askew shows one half narrower than the other.
    near, far = rng.uniform(0.35, 1, 2)
    sides = np.stack([bend + near * half, bend, bend - far * half])
    along = np.broadcast_to(0.15 + _ALONG, sides.shape)
    turn = np.array([[np.cos(heading), np.sin(heading)], [-np.sin(heading), np.cos(heading)]])
    return foot + length_px * np.stack([along, sides], axis=2) @ turn


def _outline(leaf: np.ndarray) -> np.ndarray:
    return np.concatenate([leaf[0], leaf[2][::-1]])


def _paint_half(
    paint: Float, edge: np.ndarray, rib: np.ndarray, colors: tuple[np.ndarray, np.ndarray]
) -> None:
    """Paint one half from stalk to tip, a little past its edge."""
    bands = len(edge) - 1
    for k in range(bands):
        share = (k + 0.5) / bands
        tint = _tint((1 - share) * colors[0] + share * colors[1])
        band = _scaled(np.array([edge[k], edge[k + 1], rib[k + 1], rib[k]]), _COLOR_SUPER)
        cv2.fillPoly(paint, [band], tint)
        cv2.line(paint, band[0].tolist(), band[1].tolist(), tint, 2)


def _scaled(points: np.ndarray, scale: int) -> np.ndarray:
    return np.round(points * scale).astype(np.int32)


def _tint(color: np.ndarray) -> list[float]:
    return [float(v) for v in color]
