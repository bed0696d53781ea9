"""The cello and its bow."""

import numpy as np

from blendkit.simulate.drawing.canvas import noise_field
from blendkit.simulate.drawing.figure import Figure

FOOT = np.array([-0.012, 0.815])
TOP = np.array([0.075, 0.045])
VARNISH = (0.30, 0.095, 0.026)
EBONY = (0.022, 0.018, 0.017)


def at(u: float, v: float) -> tuple[float, float]:
    """Return the figure point at u along the axis (0 = lower edge, 1 = scroll) and v across it."""
    axis = TOP - FOOT
    across = np.array([-axis[1], axis[0]]) / np.hypot(*axis)
    x, y = FOOT + u * axis + v * across
    return float(x), float(y)


def draw_cello(figure: Figure, rng: np.random.Generator) -> None:
    """Draw body, neck, scroll, strings and spike."""
    figure.strand([(*at(0.01, 0), 0.007), (*at(-0.3, 0), 0.005)], (0.25, 0.25, 0.26))
    half = [
        (0.0, 0.0),
        (0.008, 0.05),
        (0.045, 0.105),
        (0.115, 0.127),
        (0.185, 0.108),
        (0.225, 0.08),
        (0.27, 0.072),
        (0.315, 0.077),
        (0.35, 0.096),
        (0.42, 0.101),
        (0.485, 0.085),
        (0.525, 0.045),
        (0.545, 0.014),
    ]
    outline = half + [(u, -v) for u, v in half[:0:-1]]
    grain = _grain(figure, rng)
    figure.fill([at(u, v) for u, v in outline], [0.45 * v for v in VARNISH], rounded=0.006)
    inner = [at(0.004 + 0.985 * u, 0.955 * v) for u, v in outline]
    figure.fill(inner, VARNISH, rounded=0.03, relief=0.9, texture=grain)
    rim = [(*at(0.012 + 0.965 * u, 0.90 * v), 0.0014) for u, v in outline]
    figure.strand([*rim, rim[0]], [0.25 * v for v in VARNISH], contrast=0.1)
    figure.soft(at(0.43, -0.045), (0.05, 0.06), (0.55, 0.24, 0.09), 0.02, 0.4)
    figure.soft(at(0.10, -0.06), (0.06, 0.08), (0.55, 0.24, 0.09), 0.025, 0.4)
    _sound_holes(figure)
    _fittings(figure)


def _grain(figure: Figure, rng: np.random.Generator) -> np.ndarray:
    """Return fine lines along the axis, as spruce has them."""
    height, width = figure.canvas.coverage.shape
    lines = noise_field((1, width), 0.012 * figure.scale_px, rng, octaves=3)
    clouds = noise_field((height, width), 0.09 * figure.scale_px, rng, octaves=2)
    return np.asarray(np.exp(0.09 * lines + 0.10 * clouds), np.float32)


def _sound_holes(figure: Figure) -> None:
    for side in (-1, 1):
        knots = [
            (0.298, 0.037),
            (0.305, 0.043),
            (0.295, 0.048),
            (0.255, 0.050),
            (0.215, 0.054),
            (0.203, 0.060),
            (0.21, 0.066),
        ]
        widths = (0.007, 0.005, 0.004, 0.0055, 0.004, 0.005, 0.007)
        hole = [(*at(u, side * v), w) for (u, v), w in zip(knots, widths, strict=True)]
        figure.strand(hole, (0.008, 0.005, 0.004), contrast=0.1)


def _fittings(figure: Figure) -> None:
    """Draw tailpiece, fingerboard, neck, bridge, pegs, scroll and four strings."""
    tail = [at(0.022, 0.010), at(0.17, 0.021), at(0.18, 0.0), at(0.17, -0.021), at(0.022, -0.010)]
    figure.fill(tail, EBONY, rounded=0.006, relief=1.4)
    figure.strand([(*at(0.53, 0), 0.026), (*at(0.90, 0), 0.021)], [0.7 * v for v in VARNISH])
    board = [at(0.36, 0.0205), at(0.90, 0.0115), at(0.90, -0.0115), at(0.36, -0.0205)]
    corners = [at(0.63, 0.0158), at(0.63, -0.0158)]
    figure.fill(
        [board[0], corners[0], board[1], board[2], corners[1], board[3]],
        EBONY,
        rounded=0.006,
        relief=1.6,
    )
    figure.strand(
        [(*at(0.242, 0.036), 0.007), (*at(0.256, 0.0), 0.011), (*at(0.242, -0.036), 0.007)],
        (0.42, 0.24, 0.10),
    )
    scroll = [
        (*at(0.89, 0), 0.022),
        (*at(0.94, 0.002), 0.024),
        (*at(0.975, 0.004), 0.021),
        (*at(0.995, -0.004), 0.017),
        (*at(0.985, -0.013), 0.012),
    ]
    figure.strand(scroll, [0.8 * v for v in VARNISH])
    for step, side in ((0.91, 1), (0.925, -1), (0.945, 1), (0.96, -1)):
        figure.strand(
            [
                (*at(step, 0), 0.006),
                (*at(step + 0.004, side * 0.026), 0.006),
                (*at(step + 0.005, side * 0.034), 0.011),
            ],
            EBONY,
        )
    for step in range(4):
        v = step - 1.5
        string = [
            (*at(0.17, 0.0075 * v), 0.0014),
            (*at(0.254, 0.0095 * v), 0.0014),
            (*at(0.895, 0.0045 * v), 0.0012),
        ]
        figure.strand(string, (0.55, 0.53, 0.48), contrast=0.4)


def draw_bow(figure: Figure, hand: tuple[float, float]) -> None:
    """Draw stick and hair of the bow from the hand across the strings."""
    x, y = hand
    tip = (x + 0.43, y + 0.028)
    frog = (x - 0.02, y + 0.016)
    figure.strand(
        [(frog[0], frog[1] + 0.012, 0.0035), (tip[0], tip[1] + 0.008, 0.0026)],
        (0.72, 0.68, 0.60),
        contrast=0.2,
    )
    stick = [
        (frog[0] - 0.015, frog[1], 0.0072),
        ((x + tip[0]) / 2, (y + tip[1]) / 2 + 0.013, 0.0062),
        (*tip, 0.005),
    ]
    figure.strand(stick, (0.16, 0.05, 0.02), contrast=0.8)
    figure.strand([(*tip, 0.006), (tip[0] + 0.006, tip[1] + 0.010, 0.005)], (0.5, 0.45, 0.4))
    figure.strand(
        [(frog[0], frog[1] + 0.002, 0.013), (frog[0] + 0.03, frog[1] + 0.006, 0.013)], EBONY
    )
