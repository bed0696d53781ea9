"""Clear frames among poses: the sitter stood still, and what lay over the boughs' place is gone.

Defocus spreads a bough's light and keeps its sum.  So, blurred alike, a stopped frame and a wide
frame of one place agree, boughs or not; a clear frame differs from both in the same way, along the
boughs and nowhere else.  Two poses never do: what differs between them lies where the sitter is.

A flow between the two wide frames takes out what moved: the sitter, and the layers against each
other as the camera did.  A flow cannot make a veil.  What it says of the sitter is the other half
of the evidence, as a frame with the boughs held aside is taken of the pose before or after it.

The bounds were set on the shoots of seed 1000, 23 clear frames among 784 neighbours; what they do
on shoots that nothing was set on stands in DEVELOPERS.md.
"""

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from blendkit.batch.likeness import laid_on, likeness, logs
from blendkit.filters.bands import gaussian
from blendkit.frame import Bool, Float, Matrix

_WEIGHTS = (0.61, -2.72, 1.15, 3.18)
"""Log odds of a clear frame: constant, then for log2 of the sitter's movement, log2 of the veil's
depth, and how much nearer the stopped frame is; fitted by logistic regression."""

_LEAST_LOG_ODDS = -0.5

_SCALES_PX = (2.0, 4.0)
_RIM_PX = 8
_FLOOR = 2e-3


@dataclass(frozen=True, slots=True)
class Cleared:
    """How a wide frame may be the clear frame of another.

    sitter_px: how far the sitter moved against the background between them, px of SMALL_PX.
    veil_ev: depth of the veil that is gone, at the finer and the broader scale; negative = against
        what the stopped frame shows.
    nearer: log of the ratio in which the stopped frame differs more from this frame than from the
        other, both scales together.
    """

    sitter_px: float
    veil_ev: tuple[float, float]
    nearer: float

    @property
    def log_odds(self) -> float:
        """Return how much speaks for a clear frame; 0 = as much as against it."""
        veil = max(min(self.veil_ev[0], 1.2 * self.veil_ev[1]), 0.01)
        constant, moved, deep, nearer = _WEIGHTS
        told = deep * np.log2(veil) + nearer * np.clip(self.nearer, -0.3, 0.3)
        return float(constant + moved * np.log2(self.sitter_px + 0.15) + told)

    @property
    def sure(self) -> bool:
        """Return whether it is taken for a clear frame."""
        return self.log_odds > _LEAST_LOG_ODDS


def cleared(background: Float, other: Float, stopped: Float) -> Cleared:
    """Return how `other` may be `background` with the foreground held aside.

    Parameters
    ----------
    background, other : small versions of two wide frames, float32 (height, width), linear.
    stopped : small version of a foreground frame of the set-up.
    """
    moved, real = laid_on(other, _between(background, other))
    sharp, reached = laid_on(stopped, likeness(background, stopped).matrix)
    flow = _flow(background, moved)
    aside = _carried(moved, flow)
    wide, clear, crisp = (_contrast(small) for small in (background, aside, sharp))
    soft = np.minimum(wide, clear)
    sitter = _sitter(soft, crisp)
    usable = _inside(real * reached > 0) & ~_near(sitter) & (_jumps(flow) < 2.5)
    boughs = np.maximum(crisp - 1.3 * np.maximum(wide, clear), 0)
    fine, broad = (
        _veil(background, aside, sharp, boughs, usable, scale_px) for scale_px in _SCALES_PX
    )
    return Cleared(_sitter_px(flow, sitter, usable), (fine[0], broad[0]), fine[1] + broad[1])


def _contrast(small: Float) -> Float:
    """Return the RMS of a thin band of log light within some 4 px: boughs are that narrow here."""
    light = logs(small)
    band = gaussian(light, 0.7) - gaussian(light, 2.0)
    return np.sqrt(np.maximum(gaussian(np.square(band), 2.0), 0))


def _between(first: Float, second: Float) -> Matrix:
    """Return where the second lies, first's px to second's px: shift and turn, by ECC.

    Evangelidis & Psarakis 2008; both frames are wide open, so their blur is alike.
    """
    start = np.asarray(likeness(first, second).matrix[:2], np.float32)
    every = np.full(first.shape, 255, np.uint8)
    stop = (cv2.TERM_CRITERIA_EPS | cv2.TERM_CRITERIA_COUNT, 60, 1e-5)
    try:
        _, found = cv2.findTransformECC(
            logs(first), logs(second), start.copy(), cv2.MOTION_EUCLIDEAN, stop, every, 5
        )
    except cv2.error:  # it does not converge: the coarse place has to do
        found = start
    return np.vstack([found, [0.0, 0.0, 1.0]])


def _flow(first: Float, second: Float) -> Float:
    """Return the smoothed flow (height, width, 2), first's px to second's (Kroeger et al. 2016)."""
    finder = cv2.DISOpticalFlow.create(cv2.DISOPTICAL_FLOW_PRESET_MEDIUM)
    finder.setFinestScale(0)
    flow = finder.calc(_for_flow(first), _for_flow(second), np.zeros((*first.shape, 2), np.float32))
    smooth = [gaussian(np.asarray(flow[..., k], np.float32), 3.0) for k in (0, 1)]
    return np.asarray(np.stack(smooth, axis=-1), np.float32)


def _for_flow(small: Float) -> NDArray[np.uint8]:
    """Return log light without its broad shapes, which a veil changes, as bytes."""
    light = logs(small)
    level = np.clip(128 + 50 * (light - gaussian(light, 12.0)), 0, 255)
    return np.asarray(level, np.uint8)


def _carried(second: Float, flow: Float) -> Float:
    y, x = np.mgrid[: second.shape[0], : second.shape[1]].astype(np.float32)
    moved = cv2.remap(
        second,
        x + flow[..., 0],
        y + flow[..., 1],
        cv2.INTER_LINEAR,
        borderMode=cv2.BORDER_REPLICATE,
    )
    return np.asarray(moved, np.float32)


def _sitter(soft: Float, crisp: Float) -> Bool:
    """Return where the wide frames are as sharp as the stopped one: the sitter, as a rule."""
    found = (soft > 0.5 * crisp) & (soft > 2.5 * float(np.median(soft)))
    opened = cv2.morphologyEx(found.astype(np.uint8), cv2.MORPH_OPEN, np.ones((2, 2), np.uint8))
    return np.asarray(opened > 0, np.bool_)


def _near(region: Bool) -> Bool:
    wide = cv2.dilate(region.astype(np.uint8), np.ones((7, 7), np.uint8))
    return np.asarray(wide > 0, np.bool_)


def _inside(region: Bool) -> Bool:
    found = np.zeros_like(region)
    found[_RIM_PX:-_RIM_PX, _RIM_PX:-_RIM_PX] = region[_RIM_PX:-_RIM_PX, _RIM_PX:-_RIM_PX]
    return found


def _jumps(flow: Float) -> Float:
    """Return how the flow changes from px to px: large where one thing covers another."""
    steps = [
        np.abs(cv2.Sobel(flow[..., k], cv2.CV_32F, 1, 0))
        + np.abs(cv2.Sobel(flow[..., k], cv2.CV_32F, 0, 1))
        for k in (0, 1)
    ]
    return np.asarray(np.hypot(*steps), np.float32)


def _sitter_px(flow: Float, sitter: Bool, usable: Bool) -> float:
    """Return how far the sitter moved against the rest; infinite where none is seen."""
    if np.count_nonzero(sitter) <= 10 or not usable.any():
        return float("inf")
    rest = np.median(flow[usable], axis=0)
    return float(np.hypot(*(flow[sitter] - rest).T).mean())


def _veil(
    background: Float, aside: Float, sharp: Float, boughs: Float, usable: Bool, scale_px: float
) -> tuple[float, float]:
    """Return the depth, EV, in which both differences agree along the boughs, and `nearer`."""
    place = gaussian(boughs, scale_px + 2)
    if np.count_nonzero(usable) < 500:
        return 0.0, 0.0
    inside = usable & (place > 0.5 * float(np.quantile(place[usable], 0.95)))
    wide, clear, stopped = (
        np.log2(gaussian(small, scale_px) + _FLOOR) for small in (background, aside, sharp)
    )
    gone, shown, left = (
        _without_falloff(one - other, usable)[inside]
        for one, other in ((wide, clear), (stopped, clear), (stopped, wide))
    )
    common = float(np.mean(gone * shown))
    power = (float(np.sqrt(np.mean(np.square(values)))) + 0.01 for values in (shown, left))
    first, second = power
    return float(np.sign(common) * np.sqrt(abs(common))), float(np.log(first / second))


def _without_falloff(difference: Float, usable: Bool) -> Float:
    """Take gain, fall-off and a tilt of the light out of a difference, robustly (Huber weights)."""
    height, width = difference.shape
    y, x = np.mgrid[:height, :width] / width
    x, y = x - 0.5, y - 0.5 * height / width
    square = 4 * (x**2 + y**2)
    basis = np.stack([np.ones_like(x), square, square**2, x, y], axis=-1)
    inside, wanted = basis[usable], difference[usable]
    weight = np.ones(wanted.size)
    fit = np.zeros(basis.shape[-1])
    for _ in range(4):
        root = np.sqrt(weight)
        fit = np.linalg.lstsq(inside * root[:, None], wanted * root, rcond=None)[0]
        error = np.abs(wanted - inside @ fit)
        weight = np.minimum(1, (1.5 * np.median(error) + 1e-4) / np.maximum(error, 1e-6))
    return np.asarray(difference - basis @ fit, np.float32)
