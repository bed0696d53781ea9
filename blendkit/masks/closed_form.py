"""Closed-form matting on the open pixels, held to a proposal.

Minimises  a' L a + sum_i w_i (a_i - p_i)^2  over the open pixels, L the matting Laplacian of
Levin, Lischinski & Weiss (2008), IEEE TPAMI 30(2), doi:10.1109/TPAMI.2007.1177, p the proposal and
w how far it is trusted.  Tiles with margins keep the memory small, and the proposal makes a good
start, so few steps of conjugate gradients suffice.
"""

import numpy as np
from numpy.typing import NDArray
from scipy import sparse
from scipy.sparse.linalg import LinearOperator, cg

from blendkit.filters.threads import each_part
from blendkit.filters.tiles import Window, inside, tiles
from blendkit.frame import Bool, Float
from blendkit.masks.matting_laplacian import laplacian_rows
from blendkit.memory import lean_copy

_TILE = 384
_MARGIN = 24


def closed_form(
    image: Float, proposal: Float, weight: Float, open_: Bool, *, iterations: int = 120
) -> Float:
    """Return the matte of the open pixels.

    Parameters
    ----------
    image : ndarray
        The foreground frame, float32 (height, width, 3), linear; its square roots are looked at,
        which separate dark bark better than light itself.
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
    result = lean_copy(proposal)

    def solve(part: tuple[Window, Window]) -> None:
        own, near = part
        if open_[own].any():
            solved = _solved(image[near], proposal[near], weight[near], open_[near], iterations)
            result[own] = solved[inside(own, near)]

    each_part(solve, tiles(open_.shape, _TILE, _MARGIN))
    return result


def _solved(image: Float, proposal: Float, weight: Float, open_: Bool, iterations: int) -> Float:
    """Solve a tile for its open pixels; the others are fixed and move to the right side."""
    root = np.sqrt(np.clip(image, 0, 1), dtype=np.float64)
    columns, values = laplacian_rows(root, open_)
    start = proposal[open_].astype(np.float64)
    held = weight[open_].astype(np.float64)
    fixed = np.where(open_, 0.0, proposal).ravel()
    wanted = held * start - (values * fixed[columns]).sum(axis=1)
    number = np.full(open_.size, -1)
    number[open_.ravel()] = np.arange(len(start))
    system = _sparse(values, np.where(columns < 0, -1, number[columns])) + sparse.diags(held)
    diagonal = system.diagonal()
    inverse = LinearOperator(system.shape, matvec=lambda v: v / diagonal, dtype=np.float64)
    solved, _ = cg(system, wanted, x0=start, maxiter=iterations, rtol=1e-5, M=inverse)
    result = proposal.copy()
    result[open_] = np.clip(solved, 0, 1)
    return result


def _sparse(values: NDArray[np.float64], columns: NDArray[np.intp]) -> sparse.csr_matrix:
    """Return the square matrix whose rows hold values in columns; those below 0 are left out."""
    kept = columns >= 0
    starts = np.concatenate([[0], np.cumsum(kept.sum(axis=1))])
    shape = (len(values), len(values))
    return sparse.csr_matrix((values[kept], columns[kept], starts), shape=shape)
