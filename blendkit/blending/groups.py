"""Groups of boughs with a disc and a displacement each."""

import numpy as np

from blendkit.blending import BoughGroup
from blendkit.blending.discs import fit_disc, gather_evidence
from blendkit.frame import Float
from blendkit.settings import DiscSettings

_LEAST_COVERAGE = 1e-4
_PROVEN = 0.995


def find_groups(
    background: Float,
    rerendered: Float,
    alpha: Float,
    color: Float,
    protected: Float,
    settings: DiscSettings,
) -> tuple[BoughGroup, ...]:
    """Find the blur of the foreground in the background frame.

    Parameters
    ----------
    background, rerendered : ndarray
        Background frame, and the other frame's background blurred to it, (height, width, 3).
    alpha, color : ndarray
        The matte and its colours.
    protected : ndarray
        float32 (height, width): 1 where nothing may be concluded (the sitter, clipped light).
    settings : DiscSettings

    Returns
    -------
    tuple of BoughGroup
        Empty where there is no foreground.
    """
    if float(alpha.mean()) < _LEAST_COVERAGE:
        return ()
    whole = np.ones_like(alpha)
    if settings.disc_px is not None:
        return (BoughGroup(whole, settings.disc_px, (0.0, 0.0)),)
    evidence = gather_evidence(background, rerendered, alpha, color, 1 - protected, settings)
    fit = fit_disc(evidence, settings)
    return (BoughGroup(whole, fit.disc_px, fit.shift_px),)
