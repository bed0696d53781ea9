"""The matte held to the plate: S = a F + (1 - a) P, where P is known well enough to help.

Where the background is smooth, as sky is, each pixel's own equation gives its coverage better than
any look at its surroundings.  Where it is busy the sharp background differs from the soft plate,
and the equation says little.  Which of the two holds is measured: by how far the foreground frame
differs from the plate beside the foreground.  Both estimates are then averaged by their variances.
"""

import cv2
import numpy as np

from blendkit.filters.bands import gaussian
from blendkit.filters.channels import channel_sum
from blendkit.filters.threads import each_part
from blendkit.filters.tiles import Window, inside, tiles
from blendkit.frame import Bool, Float

_WINDOW_PX = 12.0
_CLEAR = 0.02
_NETWORK_ERROR = 0.15
_COLOUR_ERROR = 0.12
_RIM_PX = 7
_TILE, _MARGIN = 384, 52


def hold_to_plate(
    aligned: Float, plate: Float, alpha: Float, color: Float, region: Bool, grain: float
) -> Float:
    """Return the matte averaged with what the plate says of each pixel.

    Parameters
    ----------
    aligned, plate : ndarray
        Foreground frame and plate in one light, float32 (height, width, 3), linear.
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
    held = alpha.copy()
    rim = cv2.dilate(alpha, np.ones((_RIM_PX, _RIM_PX), np.uint8)) > _CLEAR
    open_ = region & rim & (alpha < 1 - _CLEAR)

    def hold(part: tuple[Window, Window]) -> None:
        own, near = part
        if open_[own].any():
            variance = _plate_variance(aligned[near], plate[near], alpha[near])[inside(own, near)]
            mixed = _averaged(
                aligned[own], plate[own], alpha[own], color[own], variance + 3 * grain**2
            )
            held[own] = np.where(open_[own], mixed, alpha[own])

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
    return np.asarray(mixed, np.float32)


def _plate_variance(aligned: Float, plate: Float, alpha: Float) -> Float:
    """Return the mean square difference of frame and plate around each pixel, (height, width)."""
    clear = (alpha < _CLEAR).astype(np.float32)
    square = channel_sum(np.square(aligned - plate)) * clear
    mass = gaussian(clear, _WINDOW_PX)
    return np.asarray(gaussian(square, _WINDOW_PX) / (mass + 0.02) + 1e-7, np.float32)
