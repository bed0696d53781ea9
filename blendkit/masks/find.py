"""The matte stage in order: the network proposes, the closed form settles edges, colours follow."""

from dataclasses import dataclass, replace

import cv2
import numpy as np

from blendkit.filters.resample import any_in_cells, enlarge, reduce_by
from blendkit.frame import Bool, Float
from blendkit.masks import Matte
from blendkit.masks.closed_form import closed_form
from blendkit.masks.colors import foreground_color
from blendkit.masks.colour_vote import voted_by_colour
from blendkit.masks.first_look import Proposed, first_look
from blendkit.masks.marked import found_where_marked
from blendkit.masks.network import SOFT, network_matte
from blendkit.masks.spread import reduced_marks, spread_strokes
from blendkit.masks.unpainted import unpainted_mask
from blendkit.settings import MatteSettings

_SPECK = 0.02


@dataclass(frozen=True, eq=False, slots=True)
class Found:
    """Foreground as the foreground frame shows it.  alpha: coverage, float32 (height, width).

    refocused: whether that frame was focused on it.  factor: the reduction at which that frame
    shows it sharp.  own_disc_px: its disc there as the first look read it, px; None where sharp.
    """

    alpha: Float
    refocused: bool = False
    factor: int = 1
    own_disc_px: float | None = None


@dataclass(frozen=True, eq=False, slots=True)
class _Sought:
    """What is searched, and where; at any size.  As for `find_coverage`."""

    background: Float
    aligned: Float
    region: Bool
    grain: float
    strokes: tuple[Float | None, Float | None]

    def reduced(self, factor: int) -> "_Sought":
        return _Sought(
            reduce_by(self.background, factor),
            reduce_by(self.aligned, factor),
            _reduced_region(self.region, factor),
            self.grain / factor,
            (reduced_marks(self.strokes[0], factor), reduced_marks(self.strokes[1], factor)),
        )


def find_coverage(
    background: Float,
    aligned: Float,
    region: Bool,
    grain: float,
    settings: MatteSettings,
    *,
    painted: bool,
    strokes: tuple[Float | None, Float | None] = (None, None),
    refocused: bool = False,
) -> Found:
    """Find how much of each pixel is foreground.

    Parameters
    ----------
    background, aligned : ndarray
        Both frames on one grid in one light, float32 (height, width, 3), linear.
    region : ndarray
        bool (height, width), where to search.
    grain : float
        Noise of the foreground frame at middle grey, linear standard deviation.
    settings : MatteSettings
    painted : bool
        Whether the region is a mask that somebody painted.  If not, what is found in it becomes the
        mask of a second look, so that colours inside and outside can be told apart.
    strokes : tuple
        Rasterised strokes on foreground and on background, float32 (height, width) or None.
    refocused : bool
        Whether the foreground frame was focused on the foreground, see `pair_focus`.

    Returns
    -------
    Found
    """
    if not region.any():
        return Found(np.zeros(region.shape, np.float32))
    full = _Sought(background, aligned, region, grain, strokes)
    first, small, proposal = _proposed(full, painted=painted, refocused=refocused)
    alpha = proposal
    if first.weights != SOFT:  # along a ramp the closed form would follow the grain
        alpha = _settled(small.aligned, proposal, small.region, settings)
    alpha[(alpha > 0) & (alpha < _SPECK)] = 0  # zeros stay unwritten
    alpha[alpha > 1 - _SPECK] = 1
    if first.factor > 1:
        alpha = enlarge(alpha, first.factor, (region.shape[1], region.shape[0])) * region
    return Found(alpha, refocused, first.sharp_factor, first.own_disc_px)


def _proposed(full: _Sought, *, painted: bool, refocused: bool) -> tuple[Proposed, _Sought, Float]:
    """Return what the network proposed, what is sought at that scale, and the matte there.

    The network's matte, with what colour and strokes say of it.
    """
    hint = full.region.astype(np.float32) if painted else np.ones(full.region.shape, np.float32)
    first = first_look(
        full.background, full.aligned, hint, full.grain, refocused=refocused, painted=painted
    )
    small, found = full.reduced(first.factor), first.matte
    frames = small.background, small.aligned
    if not painted:
        mask = unpainted_mask(
            *frames, found, small.region, small.grain, small.strokes, weights=first.weights
        )
        small = replace(small, region=mask)
        found = network_matte(
            *frames, mask.astype(np.float32), small.grain, weights=first.weights, turned=True
        )
    front = small.strokes[0]
    if front is not None:
        found = found_where_marked(*frames, found, small.region, front, small.grain, first.weights)
    proposal = voted_by_colour(*frames, found, small.region)
    if any(marks is not None for marks in small.strokes):
        proposal = spread_strokes(proposal, small.aligned, *small.strokes)
    return first, small, proposal


def _reduced_region(region: Bool, factor: int) -> Bool:
    """Return a region reduced: what holds any of it."""
    return region if factor == 1 else any_in_cells(region, factor)


def given_matte(aligned: Float, alpha: Float, searched: Bool, *, color_blur_px: float) -> Matte:
    """Return a matte whose coverage is known, with its colours; see `foreground_color`."""
    color = foreground_color(aligned, alpha, color_blur_px=color_blur_px)
    return Matte(alpha, color, searched)


def _settled(aligned: Float, proposal: Float, region: Bool, settings: MatteSettings) -> Float:
    """Let the closed form place the edges between the proposal's sure parts."""
    if settings.hold >= 100:
        return proposal
    reach = 2 * round(settings.edge_px) + 1
    kernel = np.ones((reach, reach), np.uint8)
    low, high = cv2.erode(proposal, kernel), cv2.dilate(proposal, kernel)
    open_ = region & (high > 0.05) & (low < 0.95)
    sure = np.square(2 * np.abs(proposal - 0.5))
    return closed_form(aligned, proposal, (settings.hold * (0.1 + sure)).astype(np.float32), open_)
