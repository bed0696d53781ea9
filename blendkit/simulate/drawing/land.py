"""Land of a background: ridges in haze, meadows, hedges with bright gaps."""

import cv2
import numpy as np

from blendkit.simulate.drawing.backdrop import Backdrop, Tint, dabs, mixed
from blendkit.simulate.drawing.canvas import noise_field
from blendkit.simulate.drawing.trees import clump, tinted


def ridge(backdrop: Backdrop, share: float, rough: float, tint: Tint) -> None:
    """Paint everything below a wavy line at a share of the height; rough in units."""
    width, height = backdrop.size
    unit = backdrop.unit_px
    line = noise_field((1, width), 420 * unit, backdrop.rng, octaves=6)[0]
    top = backdrop.row(share) - rough * unit * line
    rows = np.arange(height, dtype=np.float32)[:, None]
    mask = np.clip(rows - top[None, :] + 0.5, 0, 1).astype(np.float32)
    mottle = 1 + 0.05 * noise_field((height, width), 60 * unit, backdrop.rng)
    backdrop.wash(mask, tint)
    shaded = np.clip(backdrop.paint * mottle[..., None], 0, 255)
    np.copyto(backdrop.paint, shaded.astype(np.uint8), where=mask[..., None] > 0.5)


def wood_line(backdrop: Backdrop, share: float, size: float, tint: Tint) -> None:
    """Paint a row of small round crowns along a share of the height; size in units."""
    rng, unit = backdrop.rng, backdrop.unit_px
    x = -size * unit
    while x < backdrop.size[0] + size * unit:
        radius = unit * size * rng.uniform(0.5, 1.1)
        y = backdrop.row(share) - 0.4 * radius + rng.normal(0, 0.2) * radius
        count = int(np.clip(size * 5, 40, 160))
        leaf = max(size * 0.22 * unit, 1.5)
        clump(backdrop, (x, y), (radius, radius * 0.9), tint, count=count, leaf_px=leaf)
        x += radius * rng.uniform(0.5, 1.1)


def meadow(backdrop: Backdrop, share: float, far: Tint, near: Tint) -> None:
    """Paint grass from a share of the height down, blades growing towards the viewer."""
    width, height = backdrop.size
    rng, unit = backdrop.rng, backdrop.unit_px
    top = backdrop.row(share)
    rows = np.arange(height, dtype=np.float32)
    depth = np.clip((rows - top) / max(height - top, 1), 0, 1)
    for index in range(6):
        band = (rows >= top + (height - top) * (index / 6) ** 1.6).astype(np.float32)
        tint = mixed(far, near, index / 5)
        soft = cv2.GaussianBlur(band[:, None], (1, 0), 18 * unit) if index else band[:, None]
        backdrop.wash(np.repeat(np.asarray(soft, np.float32).reshape(-1, 1), width, axis=1), tint)
    count = int(2600 * width / (1200 * unit))
    y = top + (height - top) * rng.uniform(0, 1, count) ** 1.3
    near_share = depth[np.clip(y.astype(int), 0, height - 1)]
    order = np.argsort(y)
    size = unit * (3 + 20 * near_share[order])
    spots = np.stack([rng.uniform(0, width, count), y[order]], axis=1)
    between = np.array(far) + (np.array(near) - np.array(far)) * near_share[order, None]
    tints = np.clip(between * rng.normal(1.05, 0.16, (count, 1)), 0, 255)
    lean = np.pi / 2 + rng.normal(0, 0.35, count)
    dabs(backdrop, spots, size_px=size, tints=tints, slender=0.18, angle=lean)


def hedge(backdrop: Backdrop, share: float, tint: Tint, *, gaps: float = 0.18) -> None:
    """Paint a dense hedge from a share of the height down; the sky shows through bright gaps."""
    width, height = backdrop.size
    rng, unit = backdrop.rng, backdrop.unit_px
    field = noise_field((height, width), 70 * unit, rng, octaves=4)
    rows = (np.arange(height) - backdrop.row(share)) / (height - backdrop.row(share))
    dense = field + 4.5 * np.clip(rows[:, None] + 0.05, -0.3, 0.6)
    threshold = float(np.quantile(dense[rows > 0], gaps))
    for leaf, tone, count in ((20.0, 0.5, 15000), (14.0, 0.8, 11000), (10.0, 1.2, 8000)):
        number = int(count * width * height / (1.4e6 * unit**2))
        spots = rng.uniform(0, 1, (number, 2)) * (width - 1, height - 1)
        here = dense[spots[:, 1].astype(int), spots[:, 0].astype(int)]
        spots = spots[here > threshold + 0.5 * (1 - tone)]
        tints = tinted(tint, tone * rng.uniform(0.75, 1.25, len(spots)), rng)
        dabs(backdrop, spots, size_px=unit * leaf * rng.uniform(0.6, 1.5, len(spots)), tints=tints)
