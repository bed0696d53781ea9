"""The same scene in other colours: light adds in each mixture of the channels as it does in each.

Painted colours are tame.  A leaf in autumn or against the light sends back a twentieth of the blue
that it gets; where nothing like it had been seen, its bright half was taken for background.
"""

import numpy as np

from blendkit.frame import Float


def colour_mix(rng: np.random.Generator) -> Float:
    """Return a matrix (3, 3) for `mixed`: as is, or colours paler or stronger, and perhaps swapped.

    Not always: that skies are blue and leaves green is worth knowing too.
    """
    if rng.uniform() < 0.4:
        return np.eye(3, dtype=np.float32)
    strength = np.exp(rng.uniform(np.log(0.5), np.log(3.0)))
    matrix = strength * np.eye(3) + (1 - strength) / 3
    order = rng.permutation(3) if rng.uniform() < 0.5 else np.arange(3)
    return np.asarray(matrix[order], np.float32)


def mixed(pixels: Float, matrix: Float) -> Float:
    """Return linear light (height, width, 3) in other colours; none falls below 0."""
    return np.maximum(pixels @ matrix.T, 0)
