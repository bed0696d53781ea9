"""The blur of the result, absolute, at every pixel, with how sure it is."""

import cv2
import numpy as np

from blendkit.filters.bands import gaussian
from blendkit.filters.resample import reduce_by
from blendkit.frame import Capture, Float, luminance
from blendkit.midground import LensPair, ResultBlur, Sigma
from blendkit.midground.edge_discs import edge_discs
from blendkit.midground.lens_pair import (
    SAME_APERTURE,
    aperture_ratio,
    background_disc_px,
    foreground_disc_px,
    measured_gap_px,
)
from blendkit.optics.focus_gap import LEAST_GAP_SHARE, recorded_gap_px

_EDGE_PX = 1200
_SURE = 0.25
_STRIDE = 6


def result_blur(
    frames: tuple[Float, Float],
    noise: tuple[Sigma, Sigma],
    relative: tuple[Float, Float, int],
    alpha: Float,
    captures: tuple[Capture, Capture],
) -> ResultBlur:
    """Map the blur of a merge's result.

    Parameters
    ----------
    frames : background frame and aligned foreground frame, float32 (height, width, 3), linear.
    noise : of each.
    relative : the relative disc with its confidence, float32 at 1/factor, and that factor.
    alpha : the matte, float32 (height, width).
    captures : what the camera recorded, for the f-numbers and focus distances.

    Returns
    -------
    ResultBlur
        At the relative disc's scale.
    """
    disc, confidence, factor = relative
    lens = lens_of(frames, noise, relative, captures)
    calm = _calmed(disc, confidence)
    x = background_disc_px(calm, lens)
    front = foreground_disc_px(x, lens)
    size = (disc.shape[1], disc.shape[0])
    share = cv2.resize(reduce_by(alpha, factor), size, interpolation=cv2.INTER_AREA)
    blur = (1 - share) * np.abs(x) + share * np.abs(front)
    known = confidence if lens.evidence != "unknown" else np.zeros_like(confidence)
    return ResultBlur(np.asarray(blur, np.float32), x, front, known, factor, lens)


def lens_of(
    frames: tuple[Float, Float],
    noise: tuple[Sigma, Sigma],
    relative: tuple[Float, Float, int],
    captures: tuple[Capture, Capture],
) -> LensPair:
    """Return how the frames' discs hang together, by the tags or by the frames' edges."""
    ratio = aperture_ratio(*captures)
    height, width = frames[0].shape[:2]
    long_side_px = max(width, height)
    recorded = recorded_gap_px(*captures, (width, height))
    # At one f-number and one focus both frames would be the same: cameras record coarse steps.
    one_focus = recorded is not None and recorded < LEAST_GAP_SHARE * long_side_px
    if recorded is not None and not (one_focus and ratio > SAME_APERTURE):
        return LensPair(ratio, recorded, "recorded")
    disc, confidence, _ = relative
    scale = max(round(long_side_px / _EDGE_PX), 1)
    size = (disc.shape[1], disc.shape[0])
    seen = [_edges(frame, sigma, scale, size) for frame, sigma in zip(frames, noise, strict=True)]
    pick = (slice(_STRIDE // 2, None, _STRIDE),) * 2
    sure = confidence[pick] > _SURE
    values = [np.asarray(v[pick][sure], np.float64) for v in (disc, *seen)]
    gap = measured_gap_px(values[0], values[1], values[2], ratio, 0.12 * long_side_px)
    if gap is None:
        return LensPair(ratio, 0.0, "unknown" if ratio > SAME_APERTURE else "measured")
    return LensPair(ratio, gap, "measured")


def _edges(frame: Float, sigma: Sigma, scale: int, size: tuple[int, int]) -> Float:
    """Return the disc that edges show at the relative disc's scale, in full px; nan = no edges."""
    small = reduce_by(frame, scale)
    light = luminance(small)
    grain = sigma(gaussian(small, 2.0)).mean(axis=2) * 0.7 / scale
    window = 2 * round(0.02 * max(light.shape) / 2) + 1
    disc, weight = edge_discs(light, grain.astype(np.float32), window)
    disc = np.where(weight > 0.004, disc * scale, np.nan)
    return np.asarray(cv2.resize(disc, size, interpolation=cv2.INTER_NEAREST), np.float32)


def _calmed(disc: Float, confidence: Float) -> Float:
    """Return the relative disc with unsure places filled from sure ones around them."""
    weight: Float = np.asarray(np.square(confidence) + 1e-5, np.float32)
    result, left = np.zeros_like(disc), np.ones_like(disc)
    for sigma in (1.5, 4.0, 10.0, 25.0, 60.0):
        mass = gaussian(weight, sigma)
        mean = gaussian(np.asarray(weight * disc, np.float32), sigma) / mass
        enough = np.clip(mass / 0.1, 0, 1) if sigma < 60 else np.ones_like(mass)
        result += left * enough * mean
        left *= 1 - enough
    return np.asarray(result, np.float32)
