"""Discs, motion and grain of a training pair: what two apertures and a focus make of a scene."""

from dataclasses import dataclass

import numpy as np

from blendkit.simulate.spec import PairSpec

SHARP_PX = 3.0
"""Disc up to which the foreground, or the sitter, counts as sharp."""
_TWO_FOCUSES = 0.15
_STOPS_DOWN, _SOFTEST_PX = (4.0, 10.0), 14.0
"""Ratio of the f-numbers where one focus leaves the boughs soft, and the largest disc they keep."""
_LEAST_RATIO, _WHOLLY = 0.06, 0.7
"""Refocused: the least ratio of the apertures, and the share of pairs with the focus on the boughs
themselves."""

Discs = tuple[float, float]
"""In the soft frame and in the sharp one, px."""


@dataclass(frozen=True, slots=True)
class Shares:
    """Shares of the scenes that are of some kind, each of its own chance.

    alike: boughs and background are hard to tell apart.  leafy: all that is in front bears leaves.
    grown: leaves hang on their twigs.  kindred: leaves in front, in the colours of the ground.
    one_focus: the boughs are soft in the sharp frame, as far as stopping down leaves them so.
    refocused: the sharp frame is focused on the boughs.  thicket: a mass stands in front.
    toned: something lies along one side of the boughs.
    """

    alike: float = 0.0
    leafy: float = 0.0
    grown: float = 0.0
    kindred: float = 0.0
    one_focus: float = 0.0
    refocused: float = 0.0
    thicket: float = 0.0
    toned: float = 0.0


def pair_spec(
    seed: int,
    rng: np.random.Generator,
    hard: np.random.Generator | None,
    shares: Shares,
) -> PairSpec:
    """Return how a pair is taken.  hard: of a scene that is hard to tell apart, else None."""
    far = float(rng.choice([0.0, 1.0])) * rng.uniform(4, 45) + rng.uniform(0, 12)
    near = np.exp(rng.uniform(np.log(22), np.log(140)))
    behind = far, far * rng.uniform(0.05, 0.3)
    if hard is not None:
        near = np.exp(hard.uniform(np.log(28), np.log(100)))
        behind = near * hard.uniform(0.3, 1.0), hard.uniform(0, 5)
        if hard.uniform() < _TWO_FOCUSES:
            behind = hard.uniform(0, 10), hard.uniform(8, 30)
    own = rng.uniform(0, SHARP_PX)
    kept = np.random.default_rng((seed, 4))
    if kept.uniform() < shares.one_focus:
        ratio = np.exp(kept.uniform(*np.log(_STOPS_DOWN)))
        own, behind = min(near / ratio, _SOFTEST_PX), (behind[0], behind[0] / ratio)
    sitter = rng.uniform(0, 1.5), rng.uniform(0, 2.5)
    aim = np.random.default_rng((seed, 6))
    if aim.uniform() < shares.refocused:
        own, sitter, behind = _refocused(near, behind[0], sitter[0], aim)
    return PairSpec(
        foreground_disc_px=(near, own),
        background_disc_px=behind,
        sitter_disc_px=sitter,
        parallax_px=tuple(rng.normal(0, 3, 2)) if rng.uniform() < 0.4 else (0.0, 0.0),
        wind_px=tuple(rng.normal(0, 5, 2)) if rng.uniform() < 0.4 else (0.0, 0.0),
        iso=(1e-3, 1e-3),
        samples=150,
        seed=seed,
    )


def _refocused(
    near_px: float, far_px: float, sitter_px: float, rng: np.random.Generator
) -> tuple[float, Discs, Discs]:
    """Return the boughs' own disc, and the discs of sitter and ground.

    Discs grow with the distance to the focus in dioptres, and with the aperture: by as much as the
    soft frame spreads the boughs, the sharp frame, at one aperture, would spread the sitter.
    """
    ratio = np.exp(rng.uniform(np.log(_LEAST_RATIO), 0))
    missing = 0.0 if rng.uniform() < _WHOLLY else rng.uniform(0, 0.3)
    own = min(ratio * near_px * missing, SHARP_PX)
    moved = ratio * near_px - own
    return own, (sitter_px, moved), (far_px, moved + ratio * far_px)
