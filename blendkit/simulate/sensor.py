"""From the light that a lens gathers to a frame: shake, fall-off, exposure, noise, clipping."""

import cv2
import numpy as np

from blendkit.frame import Float
from blendkit.simulate.camera import Camera
from blendkit.simulate.mosaic import mosaicked
from blendkit.simulate.noise import noisy


def lit(light: Float, camera: Camera) -> Float:
    """Return light with the camera's shake, fall-off and gain, float32 (height, width, 3)."""
    size = (light.shape[1], light.shape[0])
    factor = falloff(size, camera.falloff_ev_corner)[..., None]
    gain = np.asarray(camera.gain, np.float32)
    return np.asarray(shaken(light, camera) * factor * gain, np.float32)


def falloff(size: tuple[int, int], ev_corner: float) -> Float:
    """Return the light that reaches each px, 1 at the centre, 2**-ev_corner at the corners.

    Part of it grows with the square, part with the fourth power of the distance from the centre,
    as vignetting by the barrel sets in late.
    """
    width, height = size
    x = (np.arange(width) - (width - 1) / 2) / ((width - 1) / 2)
    y = (np.arange(height) - (height - 1) / 2) / ((height - 1) / 2)
    aspect = height / width
    square = (x[None, :] ** 2 + (aspect * y[:, None]) ** 2) / (1 + aspect**2)
    return np.exp2(-ev_corner * (0.6 * square + 0.4 * square**2)).astype(np.float32)


def shaken(light: Float, camera: Camera) -> Float:
    """Return light smeared along a straight line of shake_px."""
    if camera.shake_px <= 0:
        return light
    kernel = line_kernel(camera.shake_px, camera.shake_angle_deg)
    smeared = cv2.filter2D(light, -1, kernel, borderType=cv2.BORDER_REFLECT_101)
    return np.asarray(smeared, np.float32).reshape(light.shape)


def line_kernel(length_px: float, angle_deg: float) -> Float:
    """Return a normalised line of a given length, centred, anti-aliased."""
    reach = int(np.ceil(length_px / 2)) + 1
    kernel = np.zeros((2 * reach + 1, 2 * reach + 1), np.float64)
    along = (np.arange(256) + 0.5) / 256 - 0.5
    x = reach + length_px * along * np.cos(np.deg2rad(angle_deg))
    y = reach - length_px * along * np.sin(np.deg2rad(angle_deg))
    for dx in (0, 1):
        for dy in (0, 1):
            column, row = np.floor(x).astype(int) + dx, np.floor(y).astype(int) + dy
            share = (1 - np.abs(x - column)) * (1 - np.abs(y - row))
            np.add.at(kernel, (row, column), share)
    return np.asarray(kernel / kernel.sum(), np.float32)


def toned(light: Float) -> Float:
    """Return light as a camera's picture style renders it: an S-curve that keeps 0 and 1.

    Middle greys gain contrast and shadows lose light, in a gamma-2 scale; a typical picture style
    has about this shape (common practice, no source).
    """
    value = np.sqrt(np.clip(light, 0, 1))
    curved = value + 0.6 * value * (1 - value) * (2 * value - 0.85)
    return np.asarray(curved**2, np.float32)


def exposed(
    light: Float, camera: Camera, *, tone_curve: bool, seed: int, mosaic: bool = False
) -> Float:
    """Return the frame's pixels: noise added, tone curve applied, clipped to 0..1.

    mosaic: through a colour filter array, see `simulate.mosaic`.
    """
    seen = mosaicked if mosaic else noisy
    pixels = np.clip(seen(light, camera.iso, seed=seed), 0.0, 1.0)
    return toned(pixels) if tone_curve else np.asarray(pixels, np.float32)
