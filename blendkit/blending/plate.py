"""The plate: veil divided out where that is well-posed, re-rendered elsewhere, joined by trust.

Division keeps the background frame's own detail and grain but multiplies every error by
1/(1 - a*k).  Re-rendering is smooth and safe but only as right as the disc map.  The join weighs
them like two measurements of one value, by the variance each of them is expected to have.
"""

import cv2
import numpy as np

from blendkit.blending import Plate, Veil
from blendkit.filters.bands import gaussian, slow_gaussian
from blendkit.filters.channels import channel_mean
from blendkit.frame import Bool, Float
from blendkit.settings import PlateSettings

_KEPT = 0.99
_UNTOUCHED = 1e-4
"""Veil coverage that cannot move a 16-bit code by more than one at full contrast."""


def make_plate(
    background: Float,
    veil: Veil,
    rerendered: Float,
    mass: Float,
    sitter: Float,
    settings: PlateSettings,
    *,
    full: Bool | None = None,
) -> Plate:
    """Join the divided and the re-rendered plate.

    Parameters
    ----------
    background : ndarray
        The background frame W, float32 (height, width, 3), linear.
    veil : Veil
        a*k and (aF)*k.
    rerendered, mass : ndarray
        From `rerender`.
    sitter : ndarray
        float32 (height, width), 1 where the background frame stays whatever veils it.
    full : ndarray, optional
        bool (height, width), where the background frame held no more light and the foreground frame
        did: its true light is known from there only.
    settings : PlateSettings
        veil_error, rerender_error, least_clear.

    Returns
    -------
    Plate
    """
    clear = np.maximum(1 - veil.coverage, settings.least_clear)[..., None]
    divided = np.maximum((background - veil.light) / clear, 0)
    trust = _trust_in_division(veil, rerendered, mass, settings)
    if full is not None:
        trust = trust * (1 - _soft_rim(full))
    offset = _slow_offset(divided, rerendered, trust * (mass > 0))
    pixels = trust[..., None] * divided + (1 - trust[..., None]) * np.maximum(
        rerendered + offset, 0
    )
    pixels += sitter[..., None] * (background - pixels)
    touched = (veil.coverage > _UNTOUCHED) & (sitter < _KEPT)
    pixels = np.where(touched[..., None], pixels, background)
    return Plate(
        np.asarray(pixels, np.float32), np.where(touched, trust, 1).astype(np.float32), touched
    )


def _soft_rim(full: Bool) -> Float:
    """Return 1 where a frame was full, falling to 0 a few px beyond."""
    dilated = cv2.dilate(full.astype(np.uint8), np.ones((3, 3), np.uint8))
    wide = np.asarray(dilated, np.float32)
    return np.asarray(np.maximum(wide, gaussian(wide, 1.5)), np.float32)


def _trust_in_division(
    veil: Veil, rerendered: Float, mass: Float, settings: PlateSettings
) -> Float:
    """Return the share of division, from the two expected variances, float32 (height, width)."""
    clear = np.maximum(1 - veil.coverage, settings.least_clear)
    scale = channel_mean(rerendered) + 0.02
    # A veil that is wrong by a share of itself leaves that share of the contrast it causes.
    contrast = channel_mean(np.abs(veil.light - veil.coverage[..., None] * rerendered))
    divided = (settings.veil_error * (contrast + 0.1 * veil.coverage * scale) / clear) ** 2
    guess = (settings.rerender_error * scale / np.sqrt(np.clip(mass, 0.05, 1))) ** 2
    trust = guess / (guess + divided)
    # Past the point where almost nothing of the background came through, division is an echo.
    fade = np.clip((clear - settings.least_clear) / settings.least_clear, 0, 1)
    return np.asarray(trust * fade, np.float32)


def _slow_offset(divided: Float, rerendered: Float, trust: Float) -> Float:
    """Return the slow difference of the two plates, so that joining them leaves no step."""
    sigma = max(trust.shape) / 60
    weight = np.square(trust)
    mass = slow_gaussian(weight, sigma)[..., None]
    mean = slow_gaussian((divided - rerendered) * weight[..., None], sigma)
    return np.asarray(mean / (mass + 0.05), np.float32)
