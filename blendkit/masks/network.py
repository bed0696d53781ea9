"""Matte and zone in focus, each proposed by a small network that was trained on simulated pairs.

It runs from coarse to fine: at a quarter or an eighth of the size it sees whole boughs and their
veils, and each finer scale takes the coarser matte as its prior, so a 1.5 px twig is judged at
full size but with the whole bough in mind.  Of each tile only the box around its open pixels is
computed.  Tiles and boxes hang on the picture, and a tile is one thread's work, so any machine of
a kind gives the same bytes.

It has three sets of weights: two for foreground that is sharp in its own frame, discs of 0 to 3 px,
in pairs with one focus and with two, and one for what two frames with one focus leave soft.  Which
is asked, and down to what scale: first_look.

Training script, seeds and held-out figures: tests/bench/matte_training.
"""

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from functools import cache, partial
from importlib import resources

import cv2
import numpy as np
import onnxruntime

from blendkit.filters.resample import enlarge, reduce_by
from blendkit.filters.threads import each_part
from blendkit.filters.tiles import Window, boxes, inside, tiles
from blendkit.frame import Bool, Float
from blendkit.masks.evidence import NO_PRIOR, colour_evidence, exposure_scale, network_planes
from blendkit.masks.missed_in_focus import missed_in_focus

_TILE = 512
_MARGIN = 64
COARSEST_PX = 320
_SETTLED = 0.004
_TURNED_PX, _SIDES = 1600, 4
"""Long side up to which several looks are worth their time, and their number."""
_MISSED_PRIOR, _NEAR_PX = 0.8, 7
"""Where the network missed what is in focus, the least prior with which it is asked again, and the
square around each such place in which it may change its word."""
_INPUT = "planes"
SHARP, REFOCUSED, SOFT = "matte_net.onnx", "refocused_net.onnx", "soft_net.onnx"
"""Weights for foreground that is sharp in its own frame, where something else is in focus in both
and where nothing is, and for what stopping down leaves soft."""
_ZONE_NAME = "zone_net.onnx"
"""The same net at an earlier stage: what taught it mattes since cost the sitter part of her hem."""


def network_matte(
    background: Float,
    foreground: Float,
    hint: Float,
    grain: float,
    *,
    weights: str = SHARP,
    turned: bool = False,
    painted: bool = False,
) -> Float:
    """Propose a matte.

    Parameters
    ----------
    background, foreground : ndarray
        Linear light on one grid, float32 (height, width, 3), light matched.
    hint : ndarray
        float32 (height, width): 1 where foreground may stand, 0 elsewhere.
    grain : float
        Noise of the foreground frame at middle grey, linear standard deviation.
    weights : str
        SHARP, REFOCUSED or SOFT.
    turned : bool
        Whether to look from several sides where the picture is small enough, and take the mean.
    painted : bool
        Whether somebody painted the hint.  What alone is in focus in it is then foreground, and is
        asked about again where it was missed; in a mask that was found, trees behind are as sharp.

    Returns
    -------
    ndarray
        float32 (height, width), 0 to 1, 0 outside the hint.
    """
    looked = background, foreground, hint, grain
    *_, (_, matte) = ever_finer(*looked, weights, turned=turned, painted=painted)
    return matte


def ever_finer(
    background: Float,
    foreground: Float,
    hint: Float,
    grain: float,
    weights: str,
    *,
    turned: bool = False,
    painted: bool = False,
) -> Iterator[tuple[int, Float]]:
    """Yield each scale's reduction and matte, 0 outside the hint, coarsest first.

    Parameters as for `network_matte`.
    """
    exposure = exposure_scale(background)
    matte: Float | None = None
    for factor in _factors(max(hint.shape)):
        soft, sharp, where = (reduce_by(v, factor) for v in (background, foreground, hint))
        start = None if matte is None else enlarge(matte, 2, (where.shape[1], where.shape[0]))
        sides = turned and max(where.shape) <= _TURNED_PX
        look = partial(_from_all_sides if sides else run_network, weights)
        scale = _Scale(soft, sharp, where, grain / factor, exposure, look)
        matte = _at_one_scale(scale, start, again=painted)
        yield factor, np.asarray(matte * (where > 0), np.float32)


def look_again(
    background: Float,
    foreground: Float,
    hint: Float,
    grain: float,
    weights: str,
    matte: Float,
    prior: Float,
    told: Float,
    where: Bool,
) -> Float:
    """Return a matte with what the network says of some places at this size, if told more of them.

    Parameters
    ----------
    background, foreground, hint, grain, weights
        As for `network_matte`.
    matte : ndarray
        As it is, float32 (height, width).
    prior : ndarray
        Of the foreground, as a coarser scale would give it, float32 (height, width).
    told : ndarray
        What else than colours inside and outside the hint speaks for foreground, 0 to 1, float32
        (height, width).
    where : ndarray
        bool (height, width), the places.
    """
    exposure = exposure_scale(background)
    look = partial(_from_all_sides if max(hint.shape) <= _TURNED_PX else run_network, weights)
    scale = _Scale(background, foreground, hint, grain, exposure, look)
    colour = colour_evidence(foreground, hint, exposure)
    either = np.asarray(1 - (1 - colour) * (1 - told), np.float32)
    return scale.asked(prior, either, where, matte)


def focus_zone(background: Float, foreground: Float, grain: float) -> Float:
    """Propose the zone in focus in both frames, where nothing hides it.

    background, foreground, grain: as for `network_matte`, already at the scale to work at.
    Returns float32 (height, width), 0 to 1.
    """
    everywhere = np.ones(background.shape[:2], np.float32)
    prior = np.full(everywhere.shape, NO_PRIOR, np.float32)
    scale = exposure_scale(background)
    zone = np.zeros_like(prior)

    def propose(part: tuple[Window, Window]) -> None:
        inner, outer = part
        planes = network_planes(
            background[outer],
            foreground[outer],
            everywhere[outer],
            prior[outer],
            np.zeros_like(prior[outer]),
            grain,
            scale,
        )
        zone[inner] = _from_all_sides(_ZONE_NAME, planes)[1][inside(inner, outer)]

    each_part(propose, tiles(everywhere.shape, _TILE, _MARGIN))
    return zone


def _factors(long_side_px: int) -> list[int]:
    """Return reductions, coarsest first, each half of the last.

    >>> _factors(6000), _factors(1200), _factors(400)
    ([16, 8, 4, 2, 1], [4, 2, 1], [1])
    """
    factors = [1]
    while long_side_px / factors[-1] > COARSEST_PX * 1.5:
        factors.append(factors[-1] * 2)
    return factors[::-1]


@dataclass(frozen=True, eq=False, slots=True)
class _Scale:
    """Both frames, where to search, and how to look, at one scale."""

    background: Float
    foreground: Float
    hint: Float
    grain: float
    exposure: float
    look: Callable[[Float], Float]

    def asked(self, prior: Float, colour: Float, where: Bool, matte: Float) -> Float:
        """Return a matte with what the network says where the prior leaves it open."""
        open_ = where & (prior > _SETTLED)
        open_ &= cv2.erode(prior, np.ones((5, 5), np.uint8)) < 1 - _SETTLED
        said = matte.copy()

        def propose(part: tuple[Window, Window]) -> None:
            inner, outer = part
            planes = network_planes(
                self.background[outer],
                self.foreground[outer],
                self.hint[outer],
                prior[outer],
                colour[outer],
                self.grain,
                self.exposure,
            )
            said[inner] = self.look(planes)[0][inside(inner, outer)]

        each_part(propose, boxes(open_, _TILE, _MARGIN))
        return said

    def asked_again(self, prior: Float, colour: Float, matte: Float) -> Float:
        """Return a matte with what it missed of what is in focus, that said in place of colours."""
        missed = missed_in_focus(self.foreground, self.hint, matte, self.exposure)
        if not missed.any():
            return matte
        near = cv2.dilate((missed > 0).astype(np.uint8), np.ones((_NEAR_PX, _NEAR_PX))) > 0
        prior = np.where(missed > 0, np.maximum(prior, _MISSED_PRIOR), prior).astype(np.float32)
        told = np.asarray(1 - (1 - colour) * (1 - missed), np.float32)
        again = self.asked(prior, told, near & (self.hint > 0), matte)
        return np.where(near, np.maximum(again, matte), matte).astype(np.float32)


def _at_one_scale(scale: _Scale, coarser: Float | None, *, again: bool) -> Float:
    shape = scale.hint.shape
    prior = np.full(shape, NO_PRIOR, np.float32) if coarser is None else coarser
    start = np.zeros(shape, np.float32) if coarser is None else coarser
    colour = colour_evidence(scale.foreground, scale.hint, scale.exposure)
    matte = scale.asked(prior, colour, scale.hint > 0, start)
    if not again or max(shape) > _TURNED_PX:
        return matte
    return scale.asked_again(prior, colour, matte)


def _from_all_sides(name: str, planes: Float) -> Float:
    """Return the mean of the maps seen as it is, mirrored, upside down, and with both.

    The network was trained on pictures turned at random, so its errors differ and part of them
    cancels.
    """
    total = np.zeros((2, *planes.shape[1:]), np.float32)
    for rows in (1, -1):
        for columns in (1, -1):
            maps = run_network(name, np.ascontiguousarray(planes[:, ::rows, ::columns]))
            total += maps[:, ::rows, ::columns]
    return np.asarray(total / _SIDES, np.float32)


def run_network(name: str, planes: Float) -> Float:
    """Return the maps (n, height, width) of a network for planes (m, height, width).

    name: of a file beside this one, whose input takes sides divisible by 16.
    """
    height, width = planes.shape[1:]
    padding = ((0, 0), (0, -height % 16), (0, -width % 16))
    padded = np.pad(planes, padding, mode="edge")[None]
    (proposed,) = _session(name).run(None, {_INPUT: padded})
    return np.asarray(proposed[0, :, :height, :width], np.float32)


@cache
def _session(name: str) -> onnxruntime.InferenceSession:
    """Load a network that ships with the package; any number of threads may run it at once."""
    data = resources.files("blendkit.masks").joinpath(name).read_bytes()
    options = onnxruntime.SessionOptions()
    # Tiles already keep every thread busy.  Without the arena its memory goes back after a tile.
    options.intra_op_num_threads = options.inter_op_num_threads = 1
    options.enable_cpu_mem_arena = False
    return onnxruntime.InferenceSession(data, options, providers=["CPUExecutionProvider"])
