"""General-purpose registration of other libraries, for the study's table.

Phase correlation of scikit-image (Guizar-Sicairos et al. 2008) knows translations only; the ECC
of OpenCV (Evangelidis & Psarakis 2008) starts from there and fits an affine transform.
"""

import cv2
import numpy as np
from skimage.registration import phase_cross_correlation

from blendkit.frame import Float, Matrix, luminance

_STEPS = (cv2.TERM_CRITERIA_EPS | cv2.TERM_CRITERIA_COUNT, 100, 1e-6)


def rivals(background: Float, foreground: Float) -> dict[str, Matrix]:
    """Return each method's transform, background px to foreground px."""
    here, there = luminance(background), luminance(foreground)
    shift = phase_correlation(here, there)
    return {"phase correlation": shift, "ECC": ecc(here, there, shift)}


def phase_correlation(here: Float, there: Float) -> Matrix:
    """Return the translation to a twentieth px."""
    (down, right), *_ = phase_cross_correlation(there, here, upsample_factor=20)
    matrix = np.eye(3)
    matrix[:2, 2] = right, down
    return matrix


def ecc(here: Float, there: Float, start: Matrix) -> Matrix:
    """Return the affine transform, or the start where the iteration does not converge."""
    warp = start[:2].astype(np.float32)
    try:
        _, warp = cv2.findTransformECC(here, there, warp, cv2.MOTION_AFFINE, _STEPS, None, 5)
    except cv2.error:
        return start
    return np.vstack([np.asarray(warp, np.float64), [0.0, 0.0, 1.0]])
