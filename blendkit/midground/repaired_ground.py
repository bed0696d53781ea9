"""Ground as a repair left it: what was repaired has the disc of the repair, not of the frames.

`soft_ground.grounds_of` works the discs out from the plane and the matte; after a repair they are
no longer what the picture shows.
"""

from dataclasses import replace

import numpy as np

from blendkit.frame import Float
from blendkit.midground import ResultBlur
from blendkit.midground.soft_ground import Ground, grounds_of


def grounds_as_repaired(blur: ResultBlur, alpha: Float, *, seed: int = 0) -> tuple[Ground, ...]:
    """Return the surfaces of a result with the blur that its repairs left on them.

    Parameters
    ----------
    blur : of the result.
    alpha : the matte, float32 (height, width).
    seed : of the search for planes.
    """
    return tuple(as_repaired(ground, blur) for ground in grounds_of(blur, alpha, seed=seed))


def as_repaired(ground: Ground, blur: ResultBlur) -> Ground:
    """Return a ground with the discs that repairs left on it."""
    if blur.repaired is None:
        return ground
    disc = np.where(blur.repaired, blur.disc_px, ground.disc_px)
    return replace(ground, disc_px=np.asarray(disc, np.float32))
