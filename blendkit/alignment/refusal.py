"""Why two frames cannot be laid on each other, and what to try."""

from collections.abc import Callable
from dataclasses import replace
from typing import NoReturn

import numpy as np

from blendkit.alignment import Alignment
from blendkit.alignment.coarse import coarse_search
from blendkit.errors import AlignmentError
from blendkit.filters.resample import reduce_by
from blendkit.frame import Float
from blendkit.settings import AlignmentSettings

_CLEARLY_BETTER = 0.15
_CURE = "give tie points with --tie X,Y=X,Y, or --aligned if they lie on each other already"
_TURNS: dict[str, Callable[[Float], Float]] = {
    "one frame is mirrored: turn it back": lambda light: light[:, ::-1],
    "one frame is upside down: turn it by 180 degrees, or set its Exif orientation": (
        lambda light: light[::-1, ::-1]
    ),
    "one frame is turned by 90 degrees: turn it, or set its Exif orientation": np.rot90,
    "one frame is turned by 270 degrees: turn it, or set its Exif orientation": (
        lambda light: np.rot90(light, 3)
    ),
}


def refuse(
    background: Float, foreground: Float, found: Alignment, settings: AlignmentSettings
) -> NoReturn:
    """Raise AlignmentError with the likeliest reason.

    background, foreground: linear luminance, float32 (height, width); found: the fit that failed.
    """
    turned = _turned(background, foreground, settings)
    why = turned or "no zone is in focus in both, or they show different scenes"
    raise AlignmentError(
        f"the frames do not lie on each other (confidence {found.confidence:.2f}, coarse score "
        f"{found.score:.2f}): {why}",
        cure="" if turned else _CURE,
    )


def _turned(background: Float, foreground: Float, settings: AlignmentSettings) -> str | None:
    """Return the sentence of the turn under which the frames do match, if there is one."""
    factor = max(max(background.shape) // settings.coarse_size_px, 1)
    small_b, small_f = reduce_by(background, factor), reduce_by(foreground, factor)
    near = replace(settings, rotation_range_deg=1.0, scale_range=0.02)
    as_it_is = _score(small_b, small_f, near)
    scores = {}
    for sentence, turn in _TURNS.items():
        turned = np.ascontiguousarray(turn(small_f))
        if turned.shape == small_b.shape:
            scores[sentence] = _score(small_b, turned, near)
    best = max(scores, key=lambda sentence: scores[sentence])
    return best if scores[best] > as_it_is + _CLEARLY_BETTER else None


def _score(background: Float, foreground: Float, settings: AlignmentSettings) -> float:
    """Return the sum of the best score of each channel."""
    best: dict[str, float] = {}
    for candidate in coarse_search(background, foreground, settings):
        best[candidate.channel] = max(best.get(candidate.channel, -1), candidate.score)
    return sum(best.values())
