"""Search regions such as a hand paints: wobbly and too wide."""

import cv2
import numpy as np

from blendkit.frame import Float


def wobbly_hint(matte: Float, rng: np.random.Generator, *, shrunk: int = 1) -> Float:
    """Return a rough mask around a matte, with a blot beside it now and then.

    matte: float32 (height, width).  shrunk: 2 for a picture at half the scale.
    Returns float32 (height, width), 0 or 1.
    """
    reach = rng.uniform(5, 22) / shrunk
    distance = cv2.distanceTransform((matte < 0.1).astype(np.uint8), cv2.DIST_L2, 5)
    wobble = cv2.GaussianBlur(
        rng.standard_normal(matte.shape, np.float32), (0, 0), rng.uniform(6, 20) / shrunk
    )
    wobble *= rng.uniform(0.2, 0.8) * reach / (wobble.std() + 1e-6)
    hint = (distance < reach + np.maximum(wobble, 2 / shrunk - reach)).astype(np.float32)
    if rng.uniform() < 0.3:
        for _ in range(rng.integers(1, 4)):
            x, y = (int(v) for v in rng.integers(0, matte.shape[0], 2))
            cv2.circle(hint, (x, y), int(rng.uniform(10, 50) / shrunk), 1.0, -1)
    return hint
