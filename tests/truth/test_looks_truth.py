"""What was proposed is told from what lies behind, on drawn pairs whose discs are known."""

from dataclasses import replace

import cv2
import numpy as np
import pytest

from blendkit.blending import Laid
from blendkit.blending.sketch import draw_sketch, reduced
from blendkit.filters.disc import disc_blur
from blendkit.frame import Float
from blendkit.hints import Hints
from blendkit.looks import Matted, weigh
from blendkit.settings import MergeSettings

SIZE = (600, 900)
FAR_PX, NEAR_PX = 14.0, 40.0
GRAIN = 0.004


def _trees(rng: np.random.Generator) -> Float:
    """Return where dark trees with leaves stand far behind, 0 or 1."""
    trees = np.zeros(SIZE, np.float32)
    for x in range(40, SIZE[1], 70):
        cv2.line(trees, (x, 600), (x, 160), 1, 9, cv2.LINE_AA)
        for _ in range(160):
            at = rng.normal((x, 300), (14, 80)).astype(int)
            cv2.ellipse(trees, at.tolist(), (5, 3), float(rng.uniform(0, 180)), 0, 360, 1, -1)
    return trees


def _twigs(rng: np.random.Generator) -> Float:
    """Return the matte of a few twigs in the upper corner."""
    twigs = np.zeros(SIZE, np.float32)
    for _ in range(9):
        points = np.cumsum(rng.normal((-26, 9), (6, 12), (10, 2)), axis=0) + np.array([900, 10])
        cv2.polylines(twigs, [points.astype(np.int32)], False, 1, 4, cv2.LINE_AA)
    return twigs


def _pair(seed: int) -> tuple[Laid, Float, Float]:
    """Return a pair of 900 x 600 px, the matte of its twigs, and where trees stand behind."""
    rng = np.random.default_rng(seed)
    trees, twigs = _trees(rng), _twigs(rng)
    sky = np.linspace(0.35, 0.6, SIZE[0], dtype=np.float32)[:, None, None] * (0.8, 0.9, 1.1)
    bark, leaf = (np.float32(c) for c in ((0.05, 0.045, 0.04), (0.07, 0.09, 0.03)))
    behind = np.where(trees[..., None] > 0, leaf * rng.uniform(0.6, 1.4, (*SIZE, 1)), sky)
    behind = np.asarray(behind, np.float32)
    sharp = twigs[..., None] * bark + (1 - twigs[..., None]) * behind
    veil = disc_blur(twigs, NEAR_PX)[..., None]
    soft = veil * bark + (1 - veil) * disc_blur(behind, FAR_PX)
    frames = [f + GRAIN * rng.standard_normal(f.shape) for f in (soft, sharp)]
    background, aligned = (np.asarray(f, np.float32) for f in frames)
    nothing, nowhere = np.zeros(SIZE, np.float32), np.zeros(SIZE, np.bool_)
    laid = Laid(
        background=background,
        aligned=aligned,
        missing=(),
        lights=nowhere,
        footprint=~nowhere,
        softness=np.full(SIZE, FAR_PX, np.float32),
        sharpness=nothing,
        kept=nothing,
        painted=nowhere,
        blind=nothing,
        full=nowhere,
        clear=None,
    )
    return laid, twigs, trees


@pytest.mark.parametrize("seed", range(3))
def test_a_few_twigs_are_found_among_many_trees(seed: int) -> None:
    laid, twigs, trees = _pair(seed)
    proposed = np.maximum(twigs, trees)
    assert twigs.sum() < 0.2 * proposed.sum()
    small, settings = reduced(laid), MergeSettings()
    color = laid.aligned
    matted = Matted(proposed, color, draw_sketch(small, proposed, color, settings.discs))
    kept = weigh(laid, small, matted, GRAIN, Hints(), settings).matted
    found = [group.disc_px for group in matted.sketch.groups]
    assert min(found) < 1.2 * FAR_PX  # what is behind outvotes the twigs
    assert kept.alpha[(trees > 0) & (twigs == 0)].mean() < 0.02
    assert kept.alpha[twigs > 0].mean() > 0.25
    assert kept.sketch.groups[0].disc_px == pytest.approx(NEAR_PX, rel=0.2)


def test_a_frame_focused_on_the_boughs_is_believed() -> None:
    laid, twigs, _ = _pair(0)
    small, settings = reduced(laid), MergeSettings()
    matted = Matted(twigs, laid.aligned, draw_sketch(small, twigs, laid.aligned, settings.discs))
    weighed = weigh(replace(laid, refocused=True), small, matted, GRAIN, Hints(), settings)
    assert np.array_equal(weighed.matted.alpha, twigs)
    assert (weighed.chance == 1).all()
