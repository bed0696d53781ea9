"""Motion models: their parameters, the motion each parameter causes, sampling and stepping.

All parameters are in centred coordinates u = (x - centre) / half, half = half the long side, so
that a translation parameter and a rotation parameter of the same size move the frame's edge by
the same number of px.  That keeps the least squares well conditioned at every picture size.
"""

import cv2
import numpy as np
from numpy.typing import NDArray

from blendkit.frame import Float, Matrix

MODELS = {"translation": 2, "similarity": 4, "affine": 6, "homography": 8}
"""Parameters of each model, simplest first."""


def centre_and_half(size: tuple[int, int]) -> tuple[NDArray[np.float64], float]:
    """Return the centre (x, y) and half the long side of a frame of size (width, height), px."""
    return (np.array(size, np.float64) - 1) / 2, max(size) / 2


_Motions = list[NDArray[np.floating] | float]
"""Motion along one axis by each parameter: an array of the points', or a number for all."""


def _basis(
    model: str, u: NDArray[np.floating], v: NDArray[np.floating]
) -> tuple[_Motions, _Motions]:
    """Return d x/d(parameter) and d y/d(parameter) at centred coordinates, px."""
    along_x: _Motions = [1.0, 0.0]
    along_y: _Motions = [0.0, 1.0]
    if model == "similarity":
        along_x += [u, -v]
        along_y += [v, u]
    elif model in ("affine", "homography"):
        along_x += [u, v, 0.0, 0.0]
        along_y += [0.0, 0.0, u, v]
    if model == "homography":
        along_x += [-u * u, -u * v]
        along_y += [-u * v, -v * v]
    return along_x, along_y


def descent_rows(
    model: str, shape: tuple[int, ...], places: NDArray[np.integer], slope: tuple[Float, Float]
) -> Float:
    """Return how a picture changes by each parameter, float32 (parameters, points).

    places: of the flattened array of that shape.  slope: the picture's gradient (x, y) there.
    """
    centre, half = centre_and_half((shape[1], shape[0]))
    rows = places // shape[1]
    u = np.asarray((places - rows * shape[1] - centre[0]) / half, np.float32)
    v = np.asarray((rows - centre[1]) / half, np.float32)
    changes = [x * slope[0] + y * slope[1] for x, y in zip(*_basis(model, u, v), strict=True)]
    return np.asarray(changes, np.float32)


def point_basis(
    model: str, points: NDArray[np.floating], size: tuple[int, int]
) -> NDArray[np.float64]:
    """Return the motion basis, (2, parameters, n), at points (n, 2) of (x, y) px."""
    centre, half = centre_and_half(size)
    u, v = (np.asarray(points, np.float64) - centre).T / half
    axes = [[np.broadcast_to(motion, u.shape) for motion in axis] for axis in _basis(model, u, v)]
    return np.asarray(axes, np.float64)


def step(
    matrix: Matrix, parameters: NDArray[np.float64], model: str, size: tuple[int, int]
) -> tuple[Matrix, float]:
    """Add a step to a transform; return it, and what no px of the frame moves farther than, px."""
    centre, half = centre_and_half(size)
    change = _change(parameters, model)
    to_unit = np.array(
        [[1 / half, 0, -centre[0] / half], [0, 1 / half, -centre[1] / half], [0, 0, 1]]
    )
    moved = matrix.copy()
    if model == "homography":
        # The projective part divides: compose instead of adding.
        unit = np.eye(3)
        unit[:2] += change[:2] / half
        unit[2, :2] = change[2, :2] / half
        moved = matrix @ np.linalg.inv(to_unit) @ unit @ to_unit
        moved /= moved[2, 2]
    else:
        moved[:2] += change[:2] @ to_unit
    return moved, float(np.abs(parameters).sum())


def _change(p: NDArray[np.float64], model: str) -> Matrix:
    change = np.zeros((3, 3))
    change[:2, 2] = p[:2]
    if model == "similarity":
        change[:2, :2] = [[p[2], -p[3]], [p[3], p[2]]]
    elif model in ("affine", "homography"):
        change[:2, :2] = [[p[2], p[3]], [p[4], p[5]]]
    if model == "homography":
        change[2, :2] = p[6:8]
    return change


def sample(
    values: Float, matrix: Matrix, size: tuple[int, int], *, draft: bool = False
) -> tuple[Float, Float]:
    """Sample an array at matrix @ x for every px x of a grid of size (width, height).

    Returns the interpolation and a float32 validity (1 = real), both (height, width).
    OpenCV's cubic (a = -0.75) misplaces a slope by up to 0.048 px, its Lanczos by 0.015 px, and
    takes six times as long; a draft is cubic.
    """
    flags = (cv2.INTER_CUBIC if draft else cv2.INTER_LANCZOS4) | cv2.WARP_INVERSE_MAP
    moved = cv2.warpPerspective(values, matrix, size, flags=flags, borderMode=cv2.BORDER_REPLICATE)
    inside = np.ones(values.shape[:2], np.uint8)
    valid = cv2.warpPerspective(
        inside, matrix, size, flags=cv2.INTER_NEAREST | cv2.WARP_INVERSE_MAP
    )
    return np.asarray(moved, np.float32), np.asarray(valid, np.float32)


def grid_points(size: tuple[int, int]) -> NDArray[np.float64]:
    """Return an even 9x9 grid of points (81, 2) of (x, y) px on a frame of (width, height)."""
    x, y = np.meshgrid(np.linspace(0, size[0] - 1, 9), np.linspace(0, size[1] - 1, 9))
    return np.column_stack([x.ravel(), y.ravel()])


def predicted_rms_px(
    covariance: NDArray[np.float64],
    model: str,
    points: NDArray[np.float64],
    size: tuple[int, int],
) -> float:
    """Return the RMS motion of points (n, 2) that a parameter covariance predicts, px.

    size: (width, height) of the array that the parameters belong to.
    """
    basis = point_basis(model, points, size)
    variance = np.einsum("cpn,pq,cqn->n", basis, covariance, basis)
    return float(np.sqrt(max(float(variance.mean()), 0.0)))


def step_rms_px(
    parameters: NDArray[np.float64],
    model: str,
    points: NDArray[np.float64],
    size: tuple[int, int],
) -> float:
    """Return the RMS motion of points (n, 2) by a small parameter step, px."""
    motion = np.einsum("cpn,p->cn", point_basis(model, points, size), parameters)
    return float(np.sqrt(np.square(motion).sum(axis=0).mean()))


def apply(matrix: Matrix, points: NDArray[np.floating]) -> NDArray[np.float64]:
    """Map points (n, 2) of (x, y) px.

    Examples
    --------
    >>> apply(np.diag([2.0, 2.0, 1.0]), np.array([[3.0, 4.0]]))
    array([[6., 8.]])
    """
    mapped = np.column_stack([points, np.ones(len(points))]) @ matrix.T
    return np.asarray(mapped[:, :2] / mapped[:, 2:])


def frame_distance_px(one: Matrix, other: Matrix, weights: Float, factor: int) -> float:
    """Return the RMS distance of two transforms over the weighted zone, full px."""
    rows, columns = np.nonzero(weights > 0.1)
    if len(rows) == 0:
        rows, columns = np.indices(weights.shape).reshape(2, -1)
    pick = np.linspace(0, len(rows) - 1, min(len(rows), 200)).astype(int)
    points = np.column_stack([columns[pick], rows[pick]]) * float(factor)
    gap = apply(one, points) - apply(other, points)
    return float(np.sqrt(np.square(gap).sum(axis=1).mean()))


def grid_distance_px(one: Matrix, other: Matrix, size: tuple[int, int]) -> float:
    """Return the RMS distance of two transforms over a 9x9 grid on a frame of that size, px.

    Examples
    --------
    >>> moved = np.array([[1, 0, 3], [0, 1, 4], [0, 0, 1.0]])
    >>> grid_distance_px(np.eye(3), moved, (600, 400))
    5.0
    """
    points = grid_points(size)
    gap = apply(one, points) - apply(other, points)
    return float(np.sqrt(np.square(gap).sum(axis=1).mean()))


def overlap(matrix: Matrix, size: tuple[int, int]) -> float:
    """Return the share of a frame of size (width, height) px that lands inside the other.

    Examples
    --------
    >>> overlap(np.eye(3), (600, 400))
    1.0
    """
    width, height = size
    x, y = np.meshgrid(np.linspace(0, width - 1, 33), np.linspace(0, height - 1, 33))
    there = apply(matrix, np.stack([x.ravel(), y.ravel()], axis=-1))
    inside = (there >= 0) & (there <= np.array(size) - 1)
    return float(inside.all(axis=1).mean())


def strays(matrix: Matrix, rotation_range_deg: float, scale_range: float) -> bool:
    """Tell whether a transform turns or scales by clearly more than the given ranges.

    Examples
    --------
    >>> strays(np.diag([1.02, 1.02, 1.0]), 3.0, 0.06), strays(np.diag([1.2, 1.2, 1.0]), 3.0, 0.06)
    (False, True)
    """
    along = complex(matrix[0, 0] + matrix[1, 1], matrix[1, 0] - matrix[0, 1]) / 2
    turn_deg, change = np.degrees(np.angle(along)), abs(abs(along) - 1)
    return bool(abs(turn_deg) > rotation_range_deg + 1.5 or change > scale_range + 0.03)
