"""The matte stage in order: the network proposes, the closed form settles edges, colours follow."""

import cv2
import numpy as np

from blendkit.frame import Bool, Float
from blendkit.masks import Matte
from blendkit.masks.closed_form import closed_form
from blendkit.masks.colors import foreground_color
from blendkit.masks.colour_vote import voted_by_colour
from blendkit.masks.network import network_matte
from blendkit.masks.spread import spread_strokes
from blendkit.masks.unpainted import unpainted_mask
from blendkit.settings import MatteSettings

_SPECK = 0.02


def find_coverage(
    background: Float,
    aligned: Float,
    region: Bool,
    grain: float,
    settings: MatteSettings,
    *,
    painted: bool,
    strokes: tuple[Float | None, Float | None] = (None, None),
) -> Float:
    """Find how much of each pixel is sharp foreground.

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

    Returns
    -------
    ndarray
        float32 (height, width), 0 to 1.
    """
    if not region.any():
        return np.zeros(region.shape, np.float32)
    if not painted:
        region = unpainted_mask(background, aligned, region, grain, strokes)
    proposal = _proposed(background, aligned, region, grain, strokes)
    alpha = _settled(aligned, proposal, region, settings)
    alpha[(alpha > 0) & (alpha < _SPECK)] = 0  # zeros stay unwritten
    alpha[alpha > 1 - _SPECK] = 1
    return alpha


def _proposed(
    background: Float,
    aligned: Float,
    region: Bool,
    grain: float,
    strokes: tuple[Float | None, Float | None],
) -> Float:
    """Return the network's matte in a region, with what colour and strokes say of it."""
    proposal = network_matte(background, aligned, region.astype(np.float32), grain, turned=True)
    proposal = voted_by_colour(background, aligned, proposal, region)
    if any(marks is not None for marks in strokes):
        proposal = spread_strokes(proposal, aligned, *strokes)
    return proposal


def given_matte(aligned: Float, alpha: Float, searched: Bool | None = None) -> Matte:
    """Return a matte whose coverage is known, with its colours."""
    where = alpha > 0 if searched is None else searched
    return Matte(alpha, foreground_color(aligned, alpha), np.asarray(where, np.bool_))


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
