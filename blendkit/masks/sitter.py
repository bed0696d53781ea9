"""The zone in focus in both frames, which a merge must not change: the sitter, as a rule.

Sharp texture marks it where there is texture: the two frames differ there by no blur.  Skin and
dress have little, so the zone spreads from those seeds over similar colour to the nearest place
that is known to be soft, by random walks (Grady 2006, IEEE TPAMI 28(11),
doi:10.1109/TPAMI.2006.233).
"""

import warnings

import cv2
import numpy as np
from skimage.segmentation import random_walker

from blendkit.filters.bands import window_mean
from blendkit.filters.resample import reduce_by
from blendkit.frame import Bool, Float, luminance
from blendkit.sharpness import RelativeBlur

_WORKING_PX = 300
_SURE = 0.25
_LEAST_SHARE = 0.002
_LARGEST_SHARE = 0.45
"""A zone in focus over more of the frame than this is the scene itself, not somebody in it."""


def find_sitter(background: Float, aligned: Float, blur: RelativeBlur, grain: float) -> Float:
    """Map the zone in focus in both frames.

    Parameters
    ----------
    background, aligned : ndarray
        Both frames on one grid in one light, float32 (height, width, 3), linear.
    blur : RelativeBlur
    grain : float
        Noise of the foreground frame at middle grey, linear standard deviation.

    Returns
    -------
    ndarray
        float32 (height, width), 0 to 1; all 0 where no such zone stands out.
    """
    shape = background.shape[:2]
    factor = max(round(max(shape) / _WORKING_PX), 1)
    guide = np.sqrt(np.clip(reduce_by(background, factor), 0, 1))
    seeds = _seeds(blur, background, aligned, factor, guide.shape[:2])
    share = float((seeds == 1).mean())
    if share < _LEAST_SHARE or not (seeds == 2).any():
        return np.zeros(shape, np.float32)
    zone = _spread(guide, seeds)
    if float((zone > 0.5).mean()) > _LARGEST_SHARE:
        return np.zeros(shape, np.float32)
    return _at_full_size(zone, background, factor)


def _seeds(
    blur: RelativeBlur, background: Float, aligned: Float, factor: int, shape: tuple[int, int]
) -> np.ndarray:
    """Return 1 where sharp in both, 2 where soft or different, 0 where unknown."""
    size = (shape[1], shape[0])
    disc = cv2.resize(blur.disc_px, size, interpolation=cv2.INTER_LINEAR)
    sure = cv2.resize(blur.confidence, size, interpolation=cv2.INTER_LINEAR) > _SURE
    sharp_px = max(1.5, 0.002 * max(background.shape))
    light_b, light_f = (reduce_by(luminance(p), factor) for p in (background, aligned))
    differs = window_mean(np.abs(light_b - light_f) / (light_b + light_f + 0.02), 3) > 0.12
    seeds = np.zeros(shape, np.int32)
    seeds[sure & (np.abs(disc) < sharp_px)] = 1
    seeds[(sure & (np.abs(disc) > 3 * sharp_px)) | differs] = 2
    return seeds


def _spread(guide: Float, seeds: np.ndarray) -> Float:
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        chances = random_walker(
            guide.astype(np.float64),
            seeds,
            beta=300,
            mode="cg_j",
            tol=1e-3,
            channel_axis=2,
            return_full_prob=True,
        )
    return np.asarray(chances[0], np.float32)


def _at_full_size(zone: Float, background: Float, factor: int) -> Float:
    """Bring a zone to full size along the picture's edges by a guided filter.

    He, Sun & Tang (2013), IEEE TPAMI 35(6), doi:10.1109/TPAMI.2012.213, grey guide, at reduced
    scale for the coefficients.
    """
    guide = np.sqrt(np.clip(reduce_by(luminance(background), factor), 0, 1))
    side = 5
    mean_g, mean_z = window_mean(guide, side), window_mean(zone, side)
    covariance = window_mean(guide * zone, side) - mean_g * mean_z
    variance = window_mean(guide * guide, side) - mean_g**2
    slope = covariance / (variance + 1e-3)
    offset = mean_z - slope * mean_g
    size = (background.shape[1], background.shape[0])
    slope, offset = (cv2.resize(v, size, interpolation=cv2.INTER_LINEAR) for v in (slope, offset))
    full = slope * np.sqrt(np.clip(luminance(background), 0, 1)) + offset
    soft = np.clip((full - 0.35) / 0.3, 0, 1)
    return np.asarray(soft * (zone_limit(zone, size)), np.float32)


def zone_limit(zone: Float, size: tuple[int, int]) -> Float:
    """Return where a zone may reach at all: nothing sprouts far from it."""
    near = cv2.dilate((zone > 0.2).astype(np.float32), np.ones((3, 3), np.uint8))
    return np.asarray(cv2.resize(near, size, interpolation=cv2.INTER_LINEAR), np.float32)


def protected(sitter: Float, painted: Bool) -> Float:
    """Return the sitter where the user has not painted, float32 (height, width)."""
    return np.asarray(sitter * ~painted, np.float32)
