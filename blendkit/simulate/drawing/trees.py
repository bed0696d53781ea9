"""Trees of a background: crowns of leaf dabs lit from one side, trunks, rows of poplars."""

import cv2
import numpy as np

from blendkit.simulate.drawing.backdrop import Backdrop, Points, Tint, dabs

LIGHT = np.array([-0.7, -0.7])
"""Direction (x, y) towards the light."""


def clump(
    backdrop: Backdrop,
    centre: tuple[float, float],
    radius: tuple[float, float],
    tint: Tint,
    *,
    count: int,
    leaf_px: float,
    contrast: float = 0.55,
) -> None:
    """Paint one rounded mass of leaves, dark below, lit leaves last."""
    rng = backdrop.rng
    angle, reach = rng.uniform(0, 2 * np.pi, count), np.sqrt(rng.uniform(0, 1, count)) ** 0.8
    place = np.stack([np.cos(angle), np.sin(angle)], axis=1) * reach[:, None]
    spots = np.array(centre) + place * np.array(radius)
    toward = np.clip(0.5 + 0.5 * place @ LIGHT + rng.normal(0, 0.16, count), 0, 1)
    order = np.argsort(toward + rng.normal(0, 0.15, count))
    tints = tinted(tint, (1 - contrast) + 2 * contrast * toward[order], rng)
    sizes = leaf_px * rng.uniform(0.6, 1.4, count)
    dabs(backdrop, spots[order], size_px=sizes, tints=tints)


def tinted(tint: Tint, brightness: Points, rng: np.random.Generator) -> Points:
    """Return one tint per brightness factor, each a little off in hue."""
    off = rng.normal(0, 0.05, (len(brightness), 3)) + rng.normal(0, 0.06, (len(brightness), 1))
    return np.clip(np.array(tint) * brightness[:, None] * (1 + off), 0, 255)


def tree(
    backdrop: Backdrop,
    foot: tuple[float, float],
    height_px: float,
    tint: Tint,
    *,
    leaf_px: float,
    trunk: Tint = (58, 48, 40),
    spread: float = 0.36,
) -> None:
    """Paint a round tree on its foot: trunk, then a dozen clumps from the back to the front."""
    rng = backdrop.rng
    x, y = foot
    stem(
        backdrop,
        foot,
        (x + rng.normal(0, 0.04) * height_px, y - 0.6 * height_px),
        0.07 * height_px,
        trunk,
    )
    for index in range(14):
        up = rng.uniform(0.38, 0.92)
        bulge = np.sin(np.pi * np.clip((up - 0.2) / 0.85, 0, 1))
        centre = (x + rng.normal(0, 0.5) * spread * height_px * bulge, y - up * height_px)
        size = height_px * spread * rng.uniform(0.32, 0.55)
        count = int(1.3 * np.clip((size / leaf_px) ** 2 * 2.2, 25, 260))
        clump(backdrop, centre, (size, 0.75 * size), tint, count=count, leaf_px=leaf_px)
        del index


def stem(
    backdrop: Backdrop,
    foot: tuple[float, float],
    top: tuple[float, float],
    wide_px: float,
    tint: Tint,
) -> None:
    """Paint a trunk in three tones, darkest away from the light."""
    for share, tone in ((1.0, 0.65), (0.72, 1.0), (0.3, 1.35)):
        half = 0.5 * wide_px * share
        lean = -0.5 * wide_px * (1 - share) * 0.8
        shape = [
            (foot[0] + lean - half * 1.25, foot[1]),
            (top[0] + 0.5 * lean - 0.5 * half, top[1]),
            (top[0] + 0.5 * lean + 0.5 * half, top[1]),
            (foot[0] + lean + half * 1.25, foot[1]),
        ]
        color = tuple(float(min(255, value * tone)) for value in tint)
        corners = np.rint(np.array(shape) * 16).astype(np.int32)
        cv2.fillConvexPoly(backdrop.paint, corners, color, cv2.LINE_AA, 4)


def poplar(
    backdrop: Backdrop, foot: tuple[float, float], height_px: float, tint: Tint, *, leaf_px: float
) -> None:
    """Paint a poplar: a slim flame of upright leaves around a trunk."""
    rng = backdrop.rng
    x, y = foot
    stem(backdrop, foot, (x, y - 0.8 * height_px), 0.035 * height_px, (62, 52, 42))
    count = int(np.clip(0.30 * (height_px / leaf_px) ** 2, 200, 5000))
    up = rng.beta(1.5, 1.25, count)
    profile = np.sin(np.pi * np.clip(up, 0, 1) ** 0.7) ** 0.8
    ragged = 1 + 0.25 * np.sin(18 * up + rng.uniform(0, 6)) + rng.normal(0, 0.12, count)
    aside = np.clip(rng.normal(0, 0.5, count), -1.15, 1.15) * profile * ragged
    spots = np.stack([x + 0.085 * height_px * aside, y - (0.06 + 0.94 * up) * height_px], axis=1)
    toward = np.clip(0.5 - 0.42 * aside + 0.1 * up + rng.normal(0, 0.16, count), 0, 1)
    order = np.argsort(toward + rng.normal(0, 0.2, count))
    tints = tinted(tint, 0.5 + 1.0 * toward[order], rng)
    lean = np.pi / 2 + rng.normal(0, 0.5, count)
    sizes = leaf_px * rng.uniform(0.7, 1.6, count)
    dabs(backdrop, spots[order], size_px=sizes, tints=tints, angle=lean)
