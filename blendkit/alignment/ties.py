"""Tie points: a transform from points that the user found in both frames."""

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from blendkit.alignment import models
from blendkit.errors import AlignmentError
from blendkit.frame import Matrix

Point = tuple[float, float]
Tie = tuple[Point, Point]
"""(x, y) in background px and in foreground px of the same point."""

CLICK_ERROR_SHARE = 0.0015
"""How well a point is placed by hand, of the long side: about 2 px of 1200, 9 px at 24 MP."""
_LEAST_POINTS = {"translation": 1, "similarity": 2, "affine": 3, "homography": 4}
_STEPS = 20
_LARGEST_LEVER = 16.0
"""Error over the frame for one of a click: two points of a similarity must lie 1/20 of the long
side apart, and the third of an affine 1/40 off the line of two."""


def fit_ties(ties: Sequence[Tie], size: tuple[int, int], model: str = "auto") -> tuple[Matrix, str]:
    """Fit a transform to tie points by least squares.

    Parameters
    ----------
    ties : sequence of ((x, y), (x, y))
        Background px, foreground px.
    size : (int, int)
        Width and height of the background frame, px.
    model : str
        A name in `models.MODELS`; "auto" takes the simplest that the points' accuracy supports.

    Returns
    -------
    matrix : Matrix
        Background px to foreground px.
    model : str

    Raises
    ------
    AlignmentError
        Too few points for the model, points on nearly one spot or line, or points that contradict
        each other.

    Examples
    --------
    >>> matrix, model = fit_ties([((0, 0), (5, 3)), ((100, 0), (105, 3))], (600, 400))
    >>> model, matrix[:2, 2].round(6)
    ('similarity', array([5., 3.]))
    """
    here, there = (np.array([tie[k] for tie in ties], np.float64) for k in (0, 1))
    click_px = CLICK_ERROR_SHARE * max(size)
    names = [name for name, least in _LEAST_POINTS.items() if len(ties) >= least]
    if model != "auto":
        if model not in names:
            raise AlignmentError(
                f"{len(ties)} tie points: a {model} needs at least {_LEAST_POINTS[model]}"
            )
        names = [model]
    elif len(names) > 1:
        names = names[1:]
    fitted = None
    for name in names:
        matrix = _least_squares(here, there, size, name)
        if matrix is None:
            continue  # three points near one line carry a similarity, yet no affine
        fitted, off = (matrix, name), _off_px(matrix, here, there)
        if _rms(off) <= click_px:
            return fitted
    if fitted is None:
        raise AlignmentError(
            "the tie points lie on nearly one spot or one line, too little for this motion "
            f"({names[0]}): spread them out"
        )
    if off.max() > 3 * click_px:
        worst = _contradicting(here, there, size, names)
        raise worst or _unfitted(float(off.max()), model)
    return fitted


def _contradicting(
    here: NDArray[np.float64], there: NDArray[np.float64], size: tuple[int, int], names: list[str]
) -> AlignmentError | None:
    """Name the point without which the simplest of the models fits; None if there is none.

    Points that the model fits whatever they say cannot tell which one is wrong.
    """
    click_px = CLICK_ERROR_SHARE * max(size)
    for name in names:
        if len(here) - 1 <= _LEAST_POINTS[name]:
            continue
        found = []
        for index in range(len(here)):
            others = np.arange(len(here)) != index
            matrix = _least_squares(here[others], there[others], size, name)
            if matrix is not None:
                off = _off_px(matrix, here, there)
                found.append((_rms(off[others]), float(off[index]), index))
        left, apart, worst = min(found, default=(np.inf, 0.0, 0))
        if left <= click_px:
            return AlignmentError(
                f"tie point {worst + 1} lies {apart:.0f} px off what the others say: check it"
            )
    return None


def _unfitted(off_px: float, model: str) -> AlignmentError:
    """Say that no point alone is to blame: the model asked for is, or several points are."""
    if model == "auto":
        return AlignmentError(
            f"the tie points contradict each other by {off_px:.0f} px: check that each names one "
            "point twice, or add one more to tell which is wrong"
        )
    return AlignmentError(
        f"no {model} fits the tie points ({off_px:.0f} px off)",
        cure="leave --motion out, or check that each names one point twice",
    )


def _off_px(
    matrix: Matrix, here: NDArray[np.float64], there: NDArray[np.float64]
) -> NDArray[np.float64]:
    return np.asarray(np.hypot(*(models.apply(matrix, here) - there).T), np.float64)


def _rms(off: NDArray[np.float64]) -> float:
    return float(np.sqrt(np.square(off).mean()))


def _least_squares(
    here: NDArray[np.float64], there: NDArray[np.float64], size: tuple[int, int], model: str
) -> Matrix | None:
    """Fit by Gauss-Newton from a plain shift; exact in one step for all but the homography.

    None where the points lie so that they leave some of the model's parameters open, or so nearly
    that where somebody clicked decides about the rest of the frame.
    """
    matrix = np.eye(3)
    matrix[:2, 2] = (there - here).mean(axis=0)
    basis = models.point_basis(model, here, size)
    rows = basis.transpose(0, 2, 1).reshape(-1, basis.shape[1])
    if np.linalg.matrix_rank(rows, tol=1e-3) < rows.shape[1]:
        return None
    covariance = np.asarray(np.linalg.inv(rows.T @ rows), np.float64)
    if models.predicted_rms_px(covariance, model, models.grid_points(size), size) > _LARGEST_LEVER:
        return None
    for _ in range(_STEPS):
        gap = (there - models.apply(matrix, here)).T.reshape(-1)
        parameters, *_ = np.linalg.lstsq(rows, gap, rcond=None)
        matrix, moved_px = models.step(matrix, np.asarray(parameters), model, size)
        if moved_px < 1e-9:
            break
    return matrix
