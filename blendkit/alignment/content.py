"""What a frame holds, where that rules out an alignment: nothing, white, or noise."""

import numpy as np

from blendkit.errors import AlignmentError, InputError
from blendkit.filters.bands import gaussian
from blendkit.filters.resample import reduce_by
from blendkit.frame import Float

_LOOK_AT_PX = 400
_WHITE, _WHITE_SHARE = 0.995, 0.98
_BLACK = 1e-3
_LAG = 2
_LEAST_LIKENESS = 0.1


PAIR = ("the background frame", "the foreground frame")
"""What the two frames are called, where they are a pair's own."""


def check_content(background: Float, foreground: Float, names: tuple[str, str] = PAIR) -> None:
    """Raise where there is nothing to align.

    Parameters
    ----------
    background, foreground : ndarray
        Linear luminance, float32 (height, width).
    names : (str, str)
        What the two are called in a sentence: a clear or bridge frame is no foreground frame.

    Raises
    ------
    InputError
        Both frames are the same picture.
    AlignmentError
        One frame is black, white, flat or pure noise.
    """
    if background.shape == foreground.shape and np.array_equal(background, foreground):
        raise InputError("both frames hold the same picture: give two different frames of a pair")
    for name, light in zip(names, (background, foreground), strict=True):
        lack = emptiness(light)
        if lack:
            raise AlignmentError(f"{name} {lack}: there is nothing to align, choose another frame")


def emptiness(light: Float) -> str | None:
    """Say what a picture is if it shows nothing; None where it shows something.

    Examples
    --------
    >>> emptiness(np.zeros((40, 60), np.float32))
    'is black (99 % of it below 0.001 of white)'
    >>> emptiness(np.full((40, 60), 0.3, np.float32))
    'is one flat tone'
    """
    if float(np.percentile(light[::3, ::3], 99)) < _BLACK:
        return f"is black (99 % of it below {_BLACK} of white)"
    white = float((light[::3, ::3] > _WHITE).mean())
    if white > _WHITE_SHARE:
        return f"is clipped white ({100 * white:.0f} % of it)"
    if float(light.std()) < 1e-5:
        return "is one flat tone"
    return "is pure noise" if neighbour_likeness(light) < _LEAST_LIKENESS else None


def neighbour_likeness(light: Float) -> float:
    """Return the correlation of pixels two apart in a picture reduced by at least two, -1 to 1.

    A picture has neighbours that look alike, noise (even after demosaicing) has not.
    """
    small = reduce_by(light, max(max(light.shape) // _LOOK_AT_PX, 2))
    detail = small - gaussian(small, max(small.shape) / 8)
    one, other = detail[:, _LAG:], detail[:, :-_LAG]
    power = float(np.sqrt((one**2).sum() * (other**2).sum()))
    return float((one * other).sum()) / (power + 1e-20)
