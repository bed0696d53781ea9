"""The clear frame: as a background frame, but with the foreground held or moved aside.

Boughs wide open lie as a soft veil over the frame.  A clear frame lacks it just where the
foreground frame shows boughs, while poses differ where the sitter is.  So the foreground frame,
blurred, should predict the difference between a background frame and the clear one.
"""

from collections.abc import Sequence

import numpy as np

from blendkit.batch.likeness import contrast, laid_on
from blendkit.batch.setups import Likenesses
from blendkit.batch.shots import Shot
from blendkit.filters.bands import gaussian
from blendkit.frame import Float

_BLUR_SHARE = 0.025
_VEIL_EV = 0.12
_RATIO = 2.2


def find_clear(
    backgrounds: Sequence[Shot], foregrounds: Sequence[Shot], likenesses: Likenesses
) -> tuple[list[Shot], list[Shot]]:
    """Split off the clear frame, if there is one for certain.

    Returns
    -------
    backgrounds, clears : at least one background frame always remains.
    """
    if len(backgrounds) < 2:
        return list(backgrounds), []
    misfits = [_misfit(shot, foregrounds[0], likenesses) for shot in backgrounds]
    worst = int(np.argmax(misfits))
    others = [value for k, value in enumerate(misfits) if k != worst]
    if misfits[worst] < _VEIL_EV or misfits[worst] < _RATIO * max(others):
        return list(backgrounds), []
    return [shot for shot in backgrounds if shot is not backgrounds[worst]], [backgrounds[worst]]


def _misfit(background: Shot, foreground: Shot, likenesses: Likenesses) -> float:
    """Return how badly the blurred foreground frame explains a background frame, EV.

    Counted where the foreground frame has fine contrast, off the middle third where sitters are.
    """
    matrix = likenesses(background, foreground).matrix
    moved, real = laid_on(foreground.small, matrix)
    spread = _BLUR_SHARE * max(moved.shape)
    logs = [np.log2(gaussian(light, spread) + 2e-3) for light in (background.small, moved)]
    weight = gaussian(contrast(moved), spread) * real * _off_centre(moved.shape)
    weight = np.asarray(weight**2, np.float32)
    change = logs[0] - logs[1]
    middle = float(np.median(change))
    return float((weight * np.abs(change - middle)).sum() / (weight.sum() + 1e-12))


def _off_centre(shape: tuple[int, ...]) -> Float:
    columns = np.abs(np.linspace(-1, 1, shape[1], dtype=np.float32))
    return np.broadcast_to(np.clip((columns - 0.3) / 0.2, 0.05, 1), shape).astype(np.float32)
