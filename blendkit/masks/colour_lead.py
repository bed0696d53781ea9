"""Lets colour lead where it has shown that it can tell foreground from background in this pair.

Red leaves before a blue sky need no network.  Whether colour can be trusted is asked of the pair
itself: of the pixels that the network is sure are background, how many would colour take for
foreground, and of those it is sure are foreground, how many would colour know?  Where the first
is small and the second large, colour may add what the network missed.
"""

import numpy as np

from blendkit.filters.bands import gaussian
from blendkit.frame import Bool, Float
from blendkit.masks.evidence import colour_evidence, exposure_scale

_DOUBTFUL, _CLEAR_CUT = 0.5, 0.8
_SURE_BACKGROUND = 0.05
_FEW, _MANY = 0.02, 0.06
_HALF, _MOST = 0.5, 0.75
_LEAST_PIXELS = 200


def led_by_colour(background: Float, aligned: Float, proposal: Float, region: Bool) -> Float:
    """Return the proposal with what colour alone tells added to it.

    Parameters
    ----------
    background, aligned : ndarray
        Both frames on one grid in one light, float32 (height, width, 3), linear.
    proposal : ndarray
        The network's matte, float32 (height, width).
    region : ndarray
        bool (height, width), painted; colours outside it are known to be background.

    Returns
    -------
    ndarray
        float32 (height, width), nowhere below the proposal.
    """
    hint = region.astype(np.float32)
    chance = gaussian(colour_evidence(aligned, hint, exposure_scale(background)), 1.0)
    lead = np.clip((chance - _DOUBTFUL) / (_CLEAR_CUT - _DOUBTFUL), 0, 1) * hint
    sure = region & (proposal < _SURE_BACKGROUND)
    front = region & (proposal > 1 - 2 * _SURE_BACKGROUND)
    if min(int(sure.sum()), int(front.sum())) < _LEAST_PIXELS:
        return proposal
    mistaken, known = (float((lead[part] > 0.5).mean()) for part in (sure, front))
    trust = float(np.clip((_MANY - mistaken) / (_MANY - _FEW), 0, 1))
    trust *= float(np.clip((known - _HALF) / (_MOST - _HALF), 0, 1))
    return np.asarray(1 - (1 - proposal) * (1 - trust * lead), np.float32)
