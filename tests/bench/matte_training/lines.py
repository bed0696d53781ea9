"""Wandering lines and forks: boughs, tangles, limbs and hair of training scenes."""

import cv2
import numpy as np

from blendkit.frame import Float

SUPER = 4
"""Coverage is drawn so many times as large and averaged down."""


def walk(
    rng: np.random.Generator, start: tuple[float, float], length: float, bend: float
) -> np.ndarray:
    """Return the points of a wandering line, (n, 2)."""
    count = max(int(length / 4), 3)
    heading = rng.uniform(0, 2 * np.pi) + np.cumsum(rng.normal(0, bend * 4, count))
    steps = np.column_stack([np.cos(heading), np.sin(heading)]) * 4
    return np.asarray(start) + np.cumsum(steps, axis=0)


def stroked(shape: tuple[int, int], lines: list[tuple[np.ndarray, np.ndarray]]) -> Float:
    """Draw tapered lines at four times the size and average down: coverage."""
    fine = np.zeros((shape[0] * SUPER, shape[1] * SUPER), np.uint8)
    for points, widths in lines:
        scaled = np.round(points * SUPER).astype(int)
        for a, b, width in zip(scaled[:-1], scaled[1:], widths, strict=False):
            cv2.line(
                fine, tuple(map(int, a)), tuple(map(int, b)), 255, max(round(width * SUPER), 1)
            )
    return (cv2.resize(fine, shape[::-1], interpolation=cv2.INTER_AREA) / 255).astype(np.float32)


def forks(
    rng: np.random.Generator, shape: tuple[int, int], width: float
) -> list[tuple[np.ndarray, np.ndarray]]:
    """Return a wandering limb with side twigs, each with twigs of its own."""
    lines = []
    start = rng.uniform(-0.05, 1.05, 2) * shape[::-1]
    stack = [(start, rng.uniform(0, 2 * np.pi), width, rng.uniform(150, 600), 0)]
    bend, spread = rng.uniform(0.01, 0.06), rng.uniform(0.3, 1.3)
    while stack:
        at, heading, w, length, level = stack.pop()
        count = max(int(length / 4), 3)
        headings = heading + np.cumsum(rng.normal(0, bend * 2, count))
        points = at + np.cumsum(np.column_stack([np.cos(headings), np.sin(headings)]) * 4, axis=0)
        lines.append((points, np.linspace(w, max(w * 0.4, 0.9), count)))
        if level < 3:
            for _ in range(rng.integers(1, 7)):
                k = int(rng.integers(count // 5, count))
                turn = rng.choice([-1, 1]) * spread * rng.uniform(0.5, 1.4)
                share = rng.uniform(0.25, 0.6)
                stack.append(
                    (
                        points[k],
                        headings[k] + turn,
                        max(w * rng.uniform(0.35, 0.7), 1.0),
                        length * share,
                        level + 1,
                    )
                )
    return lines
