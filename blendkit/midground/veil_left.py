"""Flag of a plate in which the veil's own pattern is still to be seen."""

from collections.abc import Callable, Iterator

import numpy as np

from blendkit.filters.bands import gaussian, window_mean
from blendkit.filters.resample import reduce_by, reduce_parts, share_in_cells
from blendkit.filters.tiles import Window
from blendkit.frame import Bool, Float, luminance
from blendkit.midground import Flag
from blendkit.midground.soft_ground import at_full_size


def veil_remains(
    plate_at: Callable[[Window], Float], coverage: Float, alpha: Float, touched: Bool
) -> Iterator[Flag]:
    """Flag a plate in which the veil's own pattern is still to be seen.

    The plate's log light is regressed on the veil's coverage, both in the band that the veil's
    edges occupy; the slope's error comes from blocks, so chance likeness does not count.

    plate_at : gives a part of the plate, float32 (height, width, 3), linear.
    """
    free = touched & (alpha < 0.02)
    if free.mean() < 0.005:
        return
    factor = max(round(max(alpha.shape) / 400), 1)
    inside = share_in_cells(free, factor) > 0.9
    light = np.log2(luminance(reduce_parts(plate_at, alpha.shape, factor)) + 0.01)
    cover = reduce_by(coverage, factor)
    width = 0.02 * max(cover.shape)
    y, x = (v - gaussian(v, 2 * width) for v in (gaussian(light, 2), gaussian(cover, 2)))
    slope, error = _slope_by_blocks(x, y, inside)
    swing = float(np.quantile(np.abs(x[inside]), 0.9)) if inside.any() else 0.0
    left_ev = abs(slope) * swing
    if left_ev < 0.12 or abs(slope) < 5 * error:
        return
    yield Flag(
        "veil-remains",
        "fail" if left_ev > 0.4 else "warn",
        at_full_size(inside & (np.abs(x) > 0.5 * swing), factor, alpha.shape[::-1]),
        f"the blurred foreground still {'darkens' if slope < 0 else 'lightens'} the background by "
        f"{left_ev:.2f} EV",
        "give the disc by hand, or paint the foreground more completely",
    )


def _slope_by_blocks(x: Float, y: Float, inside: Bool) -> tuple[float, float]:
    """Return the slope of y on x and its standard error from 8 x 8 blocks of the picture."""
    side = max(max(x.shape) // 8, 4)
    weight = inside.astype(np.float32)
    xy, xx = (window_mean(v * weight, side, passes=1) for v in (x * y, x * x))
    pick = (slice(side // 2, None, side),) * 2
    top, bottom = xy[pick].ravel(), xx[pick].ravel()
    if bottom.sum() <= 0 or len(top) < 6:
        return 0.0, np.inf
    slope = float(top.sum() / bottom.sum())
    left = top - slope * bottom
    return slope, float(np.sqrt(np.square(left).sum()) / bottom.sum())
