"""What the merge is held against: the floor of common blends, and the ceiling of known truth.

All references are given the true warp and the true light.  The floor is taken region by region
from the best of: the background frame untouched, a feathered paste, a mask pyramid blend, OpenCV's
exposure fusion, and closed-form matting (PyMatting) over the untouched background frame.  The
ceiling knows matte, colours, warp, light and every layer's disc, and only divides and re-renders.
"""

import warnings

import cv2
import numpy as np

from blendkit.blending import BoughGroup
from blendkit.blending.compose import compose
from blendkit.blending.plate import make_plate
from blendkit.blending.rerender import rerendered
from blendkit.blending.veil import make_veil
from blendkit.filters.rim_cut import RimCut
from blendkit.frame import Float
from blendkit.settings import PlateSettings
from blendkit.simulate.pair import SimulatedPair

with warnings.catch_warnings():
    warnings.simplefilter("ignore")
    from pymatting import estimate_alpha_cf, estimate_foreground_ml


def floor_results(pair: SimulatedPair, mask: Float, sharp: Float) -> dict[str, Float]:
    """Return the common blends.

    mask: rough mask, float32 (height, width).  sharp: the foreground frame under the true warp and
    light, noise included, (height, width, 3).
    """
    soft = pair.background.pixels
    feather = cv2.GaussianBlur(mask, (0, 0), 6)[..., None]
    alpha = closed_form_matte(sharp, mask)
    color = estimate_foreground_ml(sharp.astype(np.float64), alpha.astype(np.float64))
    return {
        "background frame": soft,
        "feathered paste": feather * sharp + (1 - feather) * soft,
        "pyramid blend": pyramid_blend(soft, sharp, mask),
        "exposure fusion": exposure_fusion(soft, sharp),
        "closed form": np.float32(alpha[..., None] * color + (1 - alpha[..., None]) * soft),
    }


def closed_form_matte(sharp: Float, mask: Float) -> Float:
    """Return PyMatting's closed form on the mask: its border known clear, its darkest core known.

    A rough mask has no sure foreground, so the pixels that stand out most from the ring around the
    mask are taken for it, as anybody would who has only this frame.
    """
    trimap = np.where(mask > 0.5, 0.5, 0.0)
    root = np.sqrt(np.clip(sharp, 0, 1)).astype(np.float64)
    ring = (cv2.dilate(mask, np.ones((41, 41))) > 0.5) & (mask <= 0.5)
    stand_out = np.abs(root - cv2.GaussianBlur(root, (0, 0), 25)).mean(axis=2)
    inside = mask > 0.5
    if ring.any() and inside.any():
        bar = max(np.quantile(stand_out[ring], 0.98), np.quantile(stand_out[inside], 0.9))
        trimap[inside & (stand_out > bar)] = 1.0
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        return np.float32(estimate_alpha_cf(root, trimap, cg_kwargs={"maxiter": 300, "rtol": 1e-5}))


def pyramid_blend(soft: Float, sharp: Float, mask: Float, levels: int = 7) -> Float:
    """Return a multi-band blend through the mask (Burt & Adelson 1983)."""

    def gauss(values: Float) -> list[Float]:
        stack = [values]
        for _ in range(levels - 1):
            stack.append(cv2.pyrDown(stack[-1]))
        return stack

    weights, softs, sharps = gauss(mask), gauss(soft), gauss(sharp)
    result = weights[-1][..., None] * sharps[-1] + (1 - weights[-1][..., None]) * softs[-1]
    for k in reversed(range(levels - 1)):
        size = (softs[k].shape[1], softs[k].shape[0])
        low, high = (s[k] - cv2.pyrUp(s[k + 1], dstsize=size) for s in (softs, sharps))
        band = weights[k][..., None] * high + (1 - weights[k][..., None]) * low
        result = cv2.pyrUp(result, dstsize=size) + band
    return np.maximum(result, 0)


def exposure_fusion(soft: Float, sharp: Float) -> Float:
    """Return OpenCV's exposure fusion of both frames, decoded to linear light."""
    codes = [np.uint8(255 * np.clip(p, 0, 1) ** (1 / 2.2)) for p in (soft, sharp)]
    fused = cv2.createMergeMertens(1.0, 1.0, 0.0).process(codes)
    return np.float32(np.clip(fused, 0, 1) ** 2.2)


def ceiling(
    pair: SimulatedPair, sharp: Float, shift_px: tuple[float, float], rim_cut: float = 0.0
) -> Float:
    """Return the merge with everything known but the two frames' noise.

    shift_px: where the blurred foreground lies beside the sharp one (wind and parallax undone).
    rim_cut: how far the lens's rims cut the discs in the corners, both together.
    """
    truth = pair.truth
    groups = true_groups(pair, shift_px, rim_cut)
    veil = make_veil(truth.matte, truth.foreground_color, groups)
    behind = rerendered(sharp, 1 - truth.matte, truth.softness_px)
    none = np.zeros_like(truth.matte)
    settings = PlateSettings(veil_error=0.03)
    sharper = np.full_like(truth.matte, _sharper_px(pair))
    plate = make_plate(pair.background.pixels, veil, behind, none, settings, sharpness=sharper)
    return compose(pair.background.pixels, plate, truth.matte, truth.foreground_color.__getitem__)


def _sharper_px(pair: SimulatedPair) -> float:
    """Return the disc by which the background frame is the sharper one behind the boughs, px."""
    far = [d for name, d in pair.truth.blur_discs_px.items() if name not in pair.truth.layer_mattes]
    return max(float(np.sqrt(max(narrow**2 - wide**2, 0))) for wide, narrow in far)


def true_groups(
    pair: SimulatedPair, shift_px: tuple[float, float], rim_cut: float = 0.0
) -> tuple[BoughGroup, ...]:
    """Return one group of boughs a foreground layer, with its true disc and displacement."""
    truth = pair.truth
    total = sum(truth.layer_mattes.values()) + np.float32(1e-6)
    groups = []
    for name, matte in truth.layer_mattes.items():
        wide, narrow = truth.blur_discs_px[name]
        disc_px = float(np.sqrt(wide**2 - narrow**2))
        groups.append(
            BoughGroup(matte / total, disc_px, shift_px, RimCut.over(matte.shape, rim_cut))
        )
    return tuple(groups)
