"""The matte stage in order: the network proposes, the closed form settles edges, colours follow."""

import cv2
import numpy as np

from blendkit.filters.resample import reduce_by
from blendkit.frame import Bool, Float
from blendkit.masks import Matte
from blendkit.masks.closed_form import closed_form
from blendkit.masks.colors import foreground_color
from blendkit.masks.colour_vote import voted_by_colour
from blendkit.masks.network import network_matte
from blendkit.masks.spread import spread_strokes
from blendkit.settings import MatteSettings

_SPECK = 0.02
_SMALL_PX, _SEEN_SMALL = 300, 0.3
_FOUND = 0.25
_REACH_SHARE = 1 / 80
"""How far past the twigs a rough mask reaches, of the long side: 15 px of 1200."""


def find_matte(
    background: Float,
    aligned: Float,
    region: Bool,
    grain: float,
    settings: MatteSettings,
    *,
    painted: bool,
    strokes: tuple[Float | None, Float | None] = (None, None),
) -> Matte:
    """Find coverage and colour of the sharp foreground.

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
    Matte
    """
    if not region.any():
        return given_matte(aligned, np.zeros(region.shape, np.float32), region)
    if not painted:
        found = _first_look(background, aligned, grain) * region
        if any(marks is not None for marks in strokes):
            found = spread_strokes(found, aligned, *strokes)
        region = _around(found, region)
    proposal = _proposed(background, aligned, region, grain, strokes)
    alpha = _settled(aligned, proposal, region, settings)
    alpha = np.where(alpha < _SPECK, 0, np.where(alpha > 1 - _SPECK, 1, alpha))
    return given_matte(aligned, alpha.astype(np.float32), region)


def _proposed(
    background: Float,
    aligned: Float,
    region: Bool,
    grain: float,
    strokes: tuple[Float | None, Float | None],
) -> Float:
    """Return the network's matte in a region, with what colour and strokes say of it."""
    proposal = network_matte(background, aligned, region.astype(np.float32), grain)
    proposal = voted_by_colour(background, aligned, proposal, region)
    if any(marks is not None for marks in strokes):
        proposal = spread_strokes(proposal, aligned, *strokes)
    return proposal


def _first_look(background: Float, aligned: Float, grain: float) -> Float:
    """Return what the network finds in the whole frame, nothing painted.

    At small size it sees boughs and their veils whole and is hardly ever taken in by a sharp
    background; at full size it sees the twigs.  So the small look says where, the full one what.
    """
    shape = background.shape[:2]
    everywhere = np.ones(shape, np.float32)
    found = network_matte(background, aligned, everywhere, grain)
    factor = max(round(max(shape) / _SMALL_PX), 1)
    one, other, hint = (reduce_by(v, factor) for v in (background, aligned, everywhere))
    small = network_matte(one, other, hint, grain / factor)
    near = cv2.dilate((small > _SEEN_SMALL).astype(np.uint8), np.ones((9, 9), np.uint8))
    where = cv2.resize(near, (shape[1], shape[0]), interpolation=cv2.INTER_LINEAR) > 0
    return np.asarray(found * where, np.float32)


def _around(proposal: Float, region: Bool) -> Bool:
    """Return a mask such as a hand would paint around what was found."""
    reach = 2 * round(_REACH_SHARE * max(proposal.shape)) + 1
    kernel = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (reach, reach))
    found = (proposal > _FOUND).astype(np.uint8)
    return np.asarray((cv2.dilate(found, kernel) > 0) & region, np.bool_)


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
