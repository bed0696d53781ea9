"""Closed-form matting on the open pixels, held to a proposal.

Minimises  a' L a + sum_i w_i (a_i - p_i)^2  over the open pixels, L the matting Laplacian of
Levin, Lischinski & Weiss (2008), IEEE TPAMI 30(2), doi:10.1109/TPAMI.2007.1177, p the proposal and
w how far it is trusted.  L comes from PyMatting; tiles with margins keep the memory small, and the
proposal makes a good start, so few steps of conjugate gradients suffice.
"""

import warnings

import numpy as np
from scipy import sparse
from scipy.sparse.linalg import LinearOperator, cg

from blendkit.frame import Bool, Float

with warnings.catch_warnings():
    warnings.simplefilter("ignore")
    from pymatting import cf_laplacian

_TILE = 384
_MARGIN = 24
_KNOWN = 100.0


def closed_form(
    image: Float, proposal: Float, weight: Float, open_: Bool, *, iterations: int = 120
) -> Float:
    """Return the matte of the open pixels.

    Parameters
    ----------
    image : ndarray
        The foreground frame, float32 (height, width, 3), values of about 0 to 1; square roots of
        light separate dark bark better than light itself.
    proposal, weight : ndarray
        First matte and the weight that holds to it, float32 (height, width); a weight of 0 leaves
        a pixel free.
    open_ : ndarray
        bool (height, width): pixels to solve for; the others keep their proposal.
    iterations : int
        Steps of conjugate gradients a tile.

    Returns
    -------
    ndarray
        float32 (height, width), 0 to 1.
    """
    result = proposal.copy()
    height, width = open_.shape
    for top in range(0, height, _TILE):
        for left in range(0, width, _TILE):
            inner = (slice(top, min(top + _TILE, height)), slice(left, min(left + _TILE, width)))
            if open_[inner].any():
                result[inner] = _tile(image, proposal, weight, open_, inner, iterations)
    return result


def _tile(
    image: Float,
    proposal: Float,
    weight: Float,
    open_: Bool,
    inner: tuple[slice, slice],
    iterations: int,
) -> Float:
    outer = tuple(
        slice(max(part.start - _MARGIN, 0), min(part.stop + _MARGIN, size))
        for part, size in zip(inner, open_.shape, strict=True)
    )
    window = (outer[0], outer[1])
    free = open_[window]
    laplacian = cf_laplacian(
        np.ascontiguousarray(image[window], np.float64), epsilon=1e-7, is_known=~free.ravel()
    )
    held = np.where(free, weight[window], _KNOWN).ravel().astype(np.float64)
    system = (laplacian + sparse.diags(held)).tocsr()
    start = proposal[window].ravel().astype(np.float64)
    diagonal = system.diagonal()
    inverse = LinearOperator(system.shape, matvec=lambda v: v / diagonal, dtype=np.float64)
    solved, _ = cg(system, held * start, x0=start, maxiter=iterations, rtol=1e-5, M=inverse)
    matte = np.clip(solved, 0, 1).reshape(free.shape)
    rows, columns = (
        slice(part.start - whole.start, part.stop - whole.start)
        for part, whole in zip(inner, window, strict=True)
    )
    return np.asarray(matte[rows, columns], np.float32)
