"""The matte held to the plate: S = a F + (1 - a) P, where P is known well enough to help.

Where the background is smooth, as sky is, each pixel's own equation gives its coverage better than
any look at its surroundings.  Where it is busy the sharp background differs from the soft plate,
and the equation says little.  Which of the two holds is measured: by how far the foreground frame
differs from the plate beside the foreground.  Both estimates are then averaged by their variances.
"""

from collections.abc import Callable

import cv2
import numpy as np

from blendkit.filters.bands import gaussian
from blendkit.filters.channels import channel_sum
from blendkit.filters.threads import each_part
from blendkit.filters.tiles import Window, inside, tiles
from blendkit.frame import Bool, Float
from blendkit.masks.evidence import least_coverage
from blendkit.memory import lean_copy

_WINDOW_PX = 12.0
_CLEAR = 0.02
_NETWORK_ERROR = 0.15
_COLOUR_ERROR = 0.12
_RIM_PX = 7
_SURE = 1.5
_TILE, _MARGIN = 384, 52


def hold_to_plate(
    aligned: Float,
    plate_at: Callable[[Window], Float],
    alpha: Float,
    color: Float,
    region: Bool,
    grain: float,
) -> Float:
    """Return the matte averaged with what the plate says of each pixel.

    Parameters
    ----------
    aligned : ndarray
        Foreground frame, float32 (height, width, 3), linear.
    plate_at : callable
        Gives a part of the plate in the same light, float32 (height, width, 3).
    alpha, color : ndarray
        Matte and straight foreground colour so far.
    region : ndarray
        bool (height, width), where the matte may change.
    grain : float
        Noise of the foreground frame at middle grey, linear standard deviation.

    Returns
    -------
    ndarray
        float32 (height, width), 0 to 1.
    """
    held = lean_copy(alpha)
    kernel = np.ones((_RIM_PX, _RIM_PX), np.uint8)

    def hold(part: tuple[Window, Window]) -> None:
        own, near = part
        middle = inside(own, near)
        rim = cv2.dilate(alpha[near], kernel)[middle] > _CLEAR
        open_ = region[own] & rim & (alpha[own] < 1 - _CLEAR)
        if open_.any():
            plate = plate_at(near)
            doubt = _plate_variance(aligned[near], plate, alpha[near])[middle] + 3 * grain**2
            mixed = _averaged(aligned[own], plate[middle], alpha[own], color[own], doubt)
            np.copyto(held[own], mixed, where=open_)

    each_part(hold, tiles(alpha.shape, _TILE, _MARGIN))
    return held


def _averaged(aligned: Float, plate: Float, alpha: Float, color: Float, doubt: Float) -> Float:
    """Return matte and the plate's word averaged; doubt: variance of frame against plate."""
    toward = color - plate
    contrast = channel_sum(np.square(toward)) + 1e-6
    told = np.clip(channel_sum((aligned - plate) * toward) / contrast, 0, 1)
    variance = doubt / contrast + (_COLOUR_ERROR * told) ** 2
    trust = _NETWORK_ERROR**2 / (_NETWORK_ERROR**2 + variance)
    trust = np.clip(2 * trust - 1, 0, 1)
    mixed = alpha + trust * (told - alpha)
    # A few per cent of coverage away from any twig are grain, not foreground.
    mixed[(mixed < 3 * np.sqrt(variance)) & (alpha < _CLEAR)] = 0
    brightest = np.asarray(aligned + (_SURE * np.sqrt(doubt))[..., None], np.float32)
    return np.asarray(np.maximum(mixed, least_coverage(brightest, plate)), np.float32)


def _plate_variance(aligned: Float, plate: Float, alpha: Float) -> Float:
    """Return the mean square difference of frame and plate around each pixel, (height, width)."""
    clear = (alpha < _CLEAR).astype(np.float32)
    square = channel_sum(np.square(aligned - plate)) * clear
    mass = gaussian(clear, _WINDOW_PX)
    return np.asarray(gaussian(square, _WINDOW_PX) / (mass + 0.02) + 1e-7, np.float32)
