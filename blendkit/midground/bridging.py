"""The disc that a bridge frame has on a surface, by where it is sharper and softer than the result.

In the zone itself the bridge frame's own disc hardly shows: 8 px over 1 px compare as 7.9 px, over
3 px as 7.4 px.  At both ends of the zone the result is sharp, and there the bridge frame is the
softer one by just its own disc.  So the thin lens (`lens_pair`: a disc is linear in that of the
background frame) is fitted from one focus to the other, not over the zone alone.  Beyond them the
result's own disc grows again, and an error in it would be taken for the bridge frame's.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from blendkit.frame import Float
from blendkit.midground import LensPair
from blendkit.midground.soft_ground import Ground

_SURE = 0.25
_MOST_CELLS = 3000
_FOCUSES = 81
_RATIOS = tuple(float(r) for r in np.geomspace(0.08, 1.25, 20))
_ALLOWED_PX, _ALLOWED_SHARE = 0.6, 0.10
_CAP = 3.0


@dataclass(frozen=True, eq=False, slots=True)
class _Cells:
    """Places to compare at, 1-D, px: signed background disc, result's disc, measured difference."""

    x: NDArray[np.float64]
    own: NDArray[np.float64]
    measured: NDArray[np.float64]


def bridge_disc_px(
    ground: Ground,
    relative_px: Float,
    confidence: Float,
    *,
    lens: LensPair,
    ratio: float | None,
    unit_px: float,
) -> Float:
    """Return a bridge frame's disc over the whole map.

    Parameters
    ----------
    ground : Ground
        With the result's discs.
    relative_px, confidence : ndarray
        float32, the map's shape: the disc by which the result is softer than the bridge frame,
        negative where it is sharper, px.
    lens : LensPair
        Of the two frames; it says where the foreground frame is in focus.
    ratio : float or None
        The bridge frame's aperture over the background frame's; None = sought too.
    unit_px : float
        Px of the picture for one px at 1200 px width: what is allowed for errors of measurement.

    Returns
    -------
    ndarray
        float32, the map's shape, px; the result's own discs where nothing could be compared.
    """
    x, own = ground.nearness, ground.disc_px
    near_focus = lens.gap_px / lens.ratio if lens.gap_px > 0 else np.inf
    between = (x >= 0) & (x <= near_focus)
    known = np.flatnonzero(ground.surface.seen & (confidence > _SURE) & between)
    if not known.size:
        return own
    known = known[:: max(known.size // _MOST_CELLS, 1)]
    cells = _Cells(*(values.ravel()[known].astype(np.float64) for values in (x, own, relative_px)))
    inside = x[ground.surface.region]
    focuses = np.linspace(float(inside.min()), float(inside.max()), _FOCUSES)
    tried = [
        (r, float(focus)) for r in (_RATIOS if ratio is None else (ratio,)) for focus in focuses
    ]
    best, focus = min(tried, key=lambda each: _misfit(cells, each[0], each[1], unit_px))
    return np.asarray(best * np.abs(x - focus), np.float32)


def _misfit(cells: _Cells, ratio: float, focus_px: float, unit_px: float) -> float:
    """Return the mean capped misfit of a lens, in multiples of what measurement allows.

    Squares of discs are compared, as they add up; so a small error in a large disc counts little.
    """
    measured = cells.own**2 - cells.measured * np.abs(cells.measured)
    allowed = sum(
        2 * disc * (_ALLOWED_PX * unit_px + _ALLOWED_SHARE * disc)
        for disc in (cells.own, np.abs(cells.measured))
    )
    misfit = np.abs((ratio * (cells.x - focus_px)) ** 2 - measured)
    return float(np.minimum(misfit / (allowed + unit_px**2), _CAP).mean())
