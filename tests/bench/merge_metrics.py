"""What PSNR does not tell about a merge: twigs kept whole, FLIP in the halo, pasted grain.

FLIP: Andersson et al. 2020, doi:10.1145/3406183, by the package flip-evaluator.
"""

import itertools
import warnings

import cv2
import flip_evaluator
import numpy as np
from merge_references import closed_form_matte
from skimage.morphology import skeletonize

from blendkit.frame import Bool, Float, luminance
from blendkit.simulate.drawing.canvas import srgb_from_linear
from blendkit.simulate.pair import Truth

_TWIG_PX = 2.0
_TONES = 5


def centre_line_recall(found: Float, truth: Float, reached: Bool) -> float:
    """Return the share of the centre lines of twigs of 2 px and more that the matte covers."""
    solid = truth > 0.5
    width = 2 * cv2.distanceTransform(solid.astype(np.uint8), cv2.DIST_L2, 5)
    line = skeletonize(solid) & (width >= _TWIG_PX) & reached
    covered = cv2.dilate(found, np.ones((3, 3), np.uint8)) > 0.5
    return float(covered[line].mean()) if line.any() else float("nan")


def flip_95(result: Float, wanted: Float, halo: Bool) -> float:
    """Return the 95th percentile of FLIP in the halo, at the package's usual 67 px a degree."""
    shown = [srgb_from_linear(np.clip(p, 0, 1)).astype(np.float32) for p in (wanted, result)]
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        error, _, _ = flip_evaluator.evaluate(*shown, "LDR", applyMagma=False)
    return float(np.percentile(np.asarray(error).reshape(halo.shape)[halo], 95))


def closed_form_error(sharp: Float, mask: Float, truth: Float, edge: Bool) -> float:
    """Return the mean absolute error of PyMatting's closed form over the edge, on the same mask."""
    return float(np.abs(closed_form_matte(sharp, mask) - truth)[edge].mean())


def grain_ratios(result: Float, background: Float, truth: Truth, reached: Bool) -> list[float]:
    """Return the grain of the pasted foreground over that of its surroundings, tone by tone.

    Grain is the fine band of the difference to the noise-free truth; tones are the quintiles of the
    pasted foreground's light, and the surroundings' grain is taken at the same tones.
    """
    solid = cv2.erode((truth.matte > 0.999).astype(np.uint8), np.ones((5, 5))) > 0
    solid &= reached
    free = (truth.veil_coverage < 1e-4) & (truth.matte < 1e-4)
    pasted = fine(result - truth.composite)
    around = fine(background - truth.plate)
    tone = luminance(truth.composite)
    if solid.sum() < 500:
        return []
    limits = np.quantile(tone[solid], np.linspace(0, 1, _TONES + 1))
    ratios = []
    for low, high in itertools.pairwise(limits):
        there = solid & (tone >= low) & (tone <= high)
        other = free & (tone >= 0.8 * low) & (tone <= 1.25 * high)
        if there.sum() > 200 and other.sum() > 200:
            ratios.append(float(deviation(pasted[there]) / max(deviation(around[other]), 1e-9)))
    return ratios


def fine(difference: Float) -> Float:
    light = luminance(difference)
    return light - cv2.GaussianBlur(light, (0, 0), 1.5)


def deviation(values: Float) -> float:
    """Return the standard deviation from the median absolute one: a wrong twig is no grain."""
    return 1.4826 * float(np.median(np.abs(values - np.median(values))))
