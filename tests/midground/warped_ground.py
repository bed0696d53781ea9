"""Ground, walls and mounds through a finite aperture, without slices: one warp an aperture point.

A plane's blur disc is linear over the picture, so each point of the aperture sees the plane's
picture warped by that disc times the point's place: blur without steps of depth, unlike a stack of
layers.  Cut-outs (a sitter, boughs) are laid over it with a disc of their own.  All discs are
signed: positive in front of the focus.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray
from skimage import data

from blendkit.frame import Float

Array = NDArray[np.float32]
SURFACES = ("gravel", "grass", "brick", "paving", "earth")


@dataclass(frozen=True, eq=False)
class CutOut:
    """Something flat before the ground: colour (h, w, 3), coverage (h, w), distance in m."""

    color: Array
    coverage: Array
    distance_m: float


@dataclass(frozen=True, eq=False)
class View:
    """What stands before the camera.

    color: the surface as a pinhole sees it, float32 (h, w, 3), linear; distance_m: (h, w).
    """

    color: Array
    distance_m: Array
    cut_outs: tuple[CutOut, ...] = ()


@dataclass(frozen=True)
class Lens:
    """One exposure; discs follow from the thin lens in px of the picture's width."""

    focal_length_mm: float
    f_number: float
    focus_distance_m: float
    width_px: int

    def disc_px(self, distance_m: NDArray[np.floating] | float) -> Array:
        """Return the signed disc, px: A (1/d - 1/s), A = f^2 / N / (1 - f/s) on 36 mm."""
        focal_m = self.focal_length_mm / 1000
        scale = self.focal_length_mm**2 / self.f_number / (1 - focal_m / self.focus_distance_m)
        inverse = 1 / np.asarray(distance_m) - 1 / self.focus_distance_m
        return np.asarray(scale * inverse / 1000 * self.width_px / 36, np.float32)


def photograph(view: View, lens: Lens, *, seed: int = 0, most_points: int = 120) -> Float:
    """Return the noise-free frame: the mean over aperture points of warped surface and cut-outs."""
    disc = lens.disc_px(view.distance_m)
    own = [float(lens.disc_px(cut.distance_m)) for cut in view.cut_outs]
    largest = max([float(np.abs(disc).max()), *(abs(d) for d in own)])
    points = _points(largest, most_points, seed)
    tint = view.color.mean(axis=(0, 1)) / view.color.mean()
    grey = view.color.mean(axis=2)
    slopes = np.gradient(disc)
    y, x = np.indices(disc.shape, dtype=np.float32)
    total = np.zeros_like(grey)
    for px, py in points.tolist():
        picture = _seen(grey, disc, slopes, x, y, px, py)
        for cut, cut_disc in zip(view.cut_outs, own, strict=True):
            picture = _over(picture, cut, cut_disc * px, cut_disc * py)
        total += picture
    light = cv2.GaussianBlur(total / len(points), (0, 0), 0.35)
    return light[..., None] * tint.astype(np.float32)


def _points(disc_px: float, most: int, seed: int) -> NDArray[np.float64]:
    """Return a sunflower of points in a circle of diameter 1."""
    count = int(np.clip((disc_px / 1.6) ** 2, 1, most))
    if count == 1:
        return np.zeros((1, 2))
    index = np.arange(count) + 0.5
    angle = index * np.pi * (3 - np.sqrt(5)) + seed
    reach = 0.5 * np.sqrt(index / count)
    return np.column_stack([reach * np.cos(angle), reach * np.sin(angle)])


def _seen(
    grey: Array, disc: Array, slopes: list[Array], x: Array, y: Array, px: float, py: float
) -> Array:
    """Return the surface as one aperture point sees it; exact where the disc is linear."""
    if px == 0 and py == 0:
        return grey.copy()
    here = disc / np.maximum(1 + px * slopes[1] + py * slopes[0], 0.2)
    return cv2.remap(
        grey, x - px * here, y - py * here, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REFLECT_101
    )


def _over(picture: Array, cut: CutOut, dx: float, dy: float) -> Array:
    size = (picture.shape[1], picture.shape[0])
    place = np.array([[1, 0, dx], [0, 1, dy]], np.float64)
    light = np.dstack([cut.color.mean(axis=2) * cut.coverage, cut.coverage])
    moved = cv2.warpAffine(light, place, size, flags=cv2.INTER_LINEAR)
    return moved[..., 0] + (1 - moved[..., 1]) * picture


def with_noise(light: Float, iso: float, *, seed: int) -> Float:
    """Return a frame with grain (variance rises with light and ISO), clipped to 0..1."""
    rng = np.random.default_rng(seed)
    scale = iso / 100
    variance = 2.2e-5 * scale * np.clip(light, 0, None) + 4e-7 * scale
    noise = rng.standard_normal(light.shape).astype(np.float32) * np.sqrt(variance)
    return np.clip(light + noise, 0, 1).astype(np.float32)


def receding(
    size: tuple[int, int],
    seed: int,
    *,
    nearest_m: float = 3.4,
    horizon: float = 0.4,
    tilt: float = 0.0,
    surface: str = "gravel",
    far_disc: float = 80.0,
) -> View:
    """Return level ground under a hedge of noise; tilt leans the horizon (slope)."""
    width, height = size
    rng = np.random.default_rng(seed)
    x, y = np.meshgrid(np.arange(width) / height, np.arange(height) / height)
    down = y - horizon - tilt * (x - width / height / 2)
    distance = np.where(down > 0, nearest_m * (1 - horizon) / np.maximum(down, 1e-3), np.inf)
    ground = distance < far_disc
    distance = np.where(ground, distance, far_disc).astype(np.float32)
    color = _laid_out(surface, x - width / height / 2, distance, size, rng)
    back = _noise(size, 0.05 * height, rng)
    hedge = 0.12 * np.exp(0.5 * back)[..., None] * np.array([0.9, 1.1, 0.7], np.float32)
    return View(np.where(ground[..., None], color, hedge).astype(np.float32), distance)


def wall(size: tuple[int, int], seed: int, distance_m: float, *, surface: str = "brick") -> View:
    """Return a flat wall parallel to the sensor."""
    rng = np.random.default_rng(seed)
    width, height = size
    distance = np.full((height, width), distance_m, np.float32)
    return View(_tile(surface, size, rng), distance)


def mound(
    size: tuple[int, int],
    seed: int,
    *,
    far_m: float = 9.0,
    again_m: float = 5.0,
    surface: str = "grass",
) -> View:
    """Return ground that recedes to far_m and comes nearer again, up the picture."""
    view = receding(size, seed, surface=surface, horizon=-0.2)
    height = size[1]
    share = np.linspace(0, 1, height)
    stops = np.interp(share, [0, 0.25, 0.6, 1.0], [1 / far_m, 1 / again_m, 1 / far_m, 1 / 3.4])
    smooth = cv2.GaussianBlur(
        stops.astype(np.float32)[:, None], (1, 0), sigmaX=0.1, sigmaY=height / 30
    )
    distance = np.repeat(1 / smooth, size[0], axis=1).astype(np.float32)
    return View(view.color, distance)


def _laid_out(
    surface: str, x: Array, distance: Array, size: tuple[int, int], rng: np.random.Generator
) -> Array:
    """Return a tile laid out on the ground and looked at from its side, prefiltered by distance."""
    tile = _tile(surface, (1024, 1024), rng)
    tiles = [tile]
    for _ in range(6):
        tiles.append(cv2.GaussianBlur(tiles[-1], (0, 0), 1.2 * 2 ** (len(tiles) - 1)))
    scale = 210.0
    u = (x * distance * scale + 4096) % 1023
    v = (1.3 * distance * scale) % 1023
    step = scale * distance * distance / (3.4 * 0.6 * size[1]) * 0.8
    level = np.clip(np.log2(np.maximum(step, 1e-3)), 0, 6)
    result = np.zeros((*distance.shape, 3), np.float32)
    for index, picture in enumerate(tiles):
        share = np.clip(1 - np.abs(level - index), 0, 1).astype(np.float32)
        seen = cv2.remap(picture, u.astype(np.float32), v.astype(np.float32), cv2.INTER_LINEAR)
        result += share[..., None] * seen
    return result


def _tile(surface: str, size: tuple[int, int], rng: np.random.Generator) -> Array:
    if surface in {"gravel", "grass", "brick"}:
        source = getattr(data, surface)().astype(np.float32) / 255
        turns = int(rng.integers(0, 2)) * 2
        source = np.rot90(source, turns)
        wide = -(-size[0] // source.shape[1]) + 1, -(-size[1] // source.shape[0]) + 1
        mirrored = np.hstack([source, source[:, ::-1]])
        mirrored = np.vstack([mirrored, mirrored[::-1]])
        full = np.tile(mirrored, (wide[1] // 2 + 1, wide[0] // 2 + 1))[: size[1], : size[0]]
        return (0.5 * full**2.2)[..., None] * rng.uniform(0.8, 1.1, 3).astype(np.float32)
    if surface == "paving":
        x, y = np.meshgrid(np.arange(size[0]) / 64, np.arange(size[1]) / 48)
        column = np.floor(x + 0.5 * (np.floor(y) % 2))
        number = (np.sin(column * 12.99 + np.floor(y) * 78.23) * 43758.5) % 1
        edge = np.minimum(np.abs((x + 0.5 * (np.floor(y) % 2)) % 1 - 0.5), np.abs(y % 1 - 0.5))
        stone = 0.45 + 0.55 * np.clip((0.5 - edge - 0.43) / 0.02 * -1, 0, 1)
        tone = (0.12 + 0.14 * number) * stone * np.exp(0.25 * _noise(size, 12, rng))
        return (tone[..., None] * np.array([1.05, 0.95, 0.85])).astype(np.float32)
    tone = 0.16 * np.exp(0.4 * _noise(size, 30, rng, octaves=5))
    return (tone[..., None] * np.array([1.1, 0.95, 0.75])).astype(np.float32)


def _noise(
    size: tuple[int, int], cell: float, rng: np.random.Generator, *, octaves: int = 5
) -> Array:
    total = np.zeros(size[::-1], np.float32)
    for octave in range(octaves):
        wide = max(cell / 2**octave, 1.0)
        coarse = rng.standard_normal((int(size[1] / wide) + 3, int(size[0] / wide) + 3)).astype(
            np.float32
        )
        total += 0.75**octave * cv2.resize(coarse, size, interpolation=cv2.INTER_CUBIC)
    return total / total.std()


def standing(
    size: tuple[int, int], seed: int, *, centre: float, foot: float, distance_m: float
) -> CutOut:
    """Return a figure with a patterned coat, its feet at the share `foot` of the height."""
    rng = np.random.default_rng(seed)
    width, height = size
    x, y = np.meshgrid(np.arange(width), np.arange(height))
    tall = 0.75 * height * min(foot, 0.9)
    u, v = (x - centre * width) / tall, (y - foot * height) / tall
    head = np.hypot(u / 0.10, (v + 0.88) / 0.13) < 1
    body = (np.abs(u) < 0.16 + 0.08 * (v + 0.7)) & (v > -0.78) & (v < 0)
    cover = cv2.GaussianBlur((head | body).astype(np.float32), (0, 0), 0.7)
    coat = 0.2 * np.exp(0.5 * _noise(size, 24, rng)) * (1 + 0.5 * ((x // 9 + y // 9) % 2))
    color = coat[..., None] * np.array([0.9, 0.7, 0.8])
    return CutOut(np.clip(color, 0, 0.8).astype(np.float32), cover, distance_m)


def boughs(size: tuple[int, int], seed: int, *, distance_m: float) -> CutOut:
    """Return a fan of dark twigs that hang in from a corner."""
    rng = np.random.default_rng(seed)
    width, height = size
    cover = np.zeros((height, width), np.uint8)
    left = bool(rng.integers(0, 2))
    for _ in range(14):
        x, y = (-10.0 if left else width + 10.0), rng.uniform(0, 0.35) * height
        heading = (0 if left else np.pi) + rng.normal(0, 0.5)
        thick = rng.uniform(4, 12) * height / 800
        for _ in range(24):
            step = 0.018 * width
            nx, ny = x + step * np.cos(heading), y + step * np.sin(heading)
            ends = [(int(16 * x), int(16 * y)), (int(16 * nx), int(16 * ny))]
            cv2.line(cover, *ends, 255, max(int(thick), 1), cv2.LINE_AA, 4)
            x, y, heading, thick = nx, ny, heading + rng.normal(0, 0.2), thick * 0.93
    share = cover.astype(np.float32) / 255
    tone = 0.05 * np.exp(0.5 * _noise(size, 8, rng))
    return CutOut(
        (tone[..., None] * np.array([1.2, 1.0, 0.8])).astype(np.float32), share, distance_m
    )


Maker = Callable[..., View]
Cuts = Sequence[CutOut]
