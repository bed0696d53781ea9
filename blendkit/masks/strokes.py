"""Brush strokes, and the masks that are made of them.

Strokes are what the user drew, in px of the background frame; the same function makes the masks for
a quick preview and for the merge in full, so that both search the same places.
"""

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Any, Literal, cast, get_args

import numpy as np
from numpy.typing import NDArray

from blendkit.errors import InputError
from blendkit.filters.resample import coordinate_at_scale
from blendkit.frame import Bool, Float
from blendkit.hints import NearerLine

SCHEMA = "blendkit.strokes/1"
Paint = Literal["foreground", "background", "erase"]
Role = Literal["foreground", "background", "erase", "nearer"]
LARGEST_PX = 100_000
_TOLD_AT_PX = 1000
"""Long side of the masks that tell whether everything was erased, px."""
_Place = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Stroke:
    """One stroke of a round brush.

    points: (x, y) in px, the centre of the top-left pixel at (0, 0); a single point is a dab.
    diameter_px: of the brush.
    role: what it paints; "erase" takes paint of either kind away; "nearer" paints nothing: it runs
        over ground or a wall in the direction in which that comes nearer to the camera.
    """

    points: tuple[tuple[float, float], ...]
    diameter_px: float
    role: Role


@dataclass(frozen=True, eq=False, slots=True)
class PaintedMasks:
    """Masks, float32 (height, width), 1 = painted; None where nothing is left painted."""

    foreground: Float | None
    background: Float | None


def rasterise(
    strokes: Sequence[Stroke], size: tuple[int, int], *, scale: float = 1.0
) -> PaintedMasks:
    """Paint strokes in their order: a later one replaces what it crosses.

    Parameters
    ----------
    strokes : in px of the background frame.
    size : (width, height) of the masks, px.
    scale : px of the masks per px of the background frame.

    Returns
    -------
    PaintedMasks

    Examples
    --------
    >>> line = Stroke(((1.0, 1.0), (3.0, 1.0)), 1.0, "foreground")
    >>> rasterise([line], (5, 3)).foreground.astype(int).tolist()
    [[0, 0, 0, 0, 0], [0, 1, 1, 1, 0], [0, 0, 0, 0, 0]]
    """
    layers = {role: np.zeros((size[1], size[0]), np.uint8) for role in get_args(Paint)[:2]}
    for stroke in (one for one in strokes if one.role != "nearer"):
        for role, layer in layers.items():
            _paint(layer, stroke, 1 if role == stroke.role else 0, scale)
    masks = {
        role: layer.astype(np.float32) if layer.any() else None for role, layer in layers.items()
    }
    return PaintedMasks(masks["foreground"], masks["background"])


def leaves_paint(strokes: Sequence[Stroke], size: tuple[int, int]) -> bool:
    """Return whether strokes over a frame of (width, height) px leave anything painted.

    >>> from dataclasses import replace
    >>> line = Stroke(((1.0, 1.0), (3.0, 1.0)), 1.0, "foreground")
    >>> leaves_paint([line], (5, 3)), leaves_paint([line, replace(line, role="erase")], (5, 3))
    (True, False)
    """
    roles = {stroke.role for stroke in strokes}
    if "erase" not in roles or roles <= {"erase", "nearer"}:
        return bool(roles - {"erase", "nearer"})
    scale = min(1.0, _TOLD_AT_PX / max(size))
    small = (max(round(size[0] * scale), 1), max(round(size[1] * scale), 1))
    left = rasterise(strokes, small, scale=scale)
    return left.foreground is not None or left.background is not None


def nearer_lines(strokes: Iterable[Stroke], *, scale: float = 1.0) -> tuple[NearerLine, ...]:
    """Return the strokes that say where a surface comes nearer, in px of a picture scaled so.

    >>> nearer_lines([Stroke(((5.0, 1.0), (5.0, 9.0)), 4.0, "nearer")])
    (NearerLine(points=((5.0, 1.0), (5.0, 9.0)), width_px=4.0),)
    """
    return tuple(
        NearerLine(
            tuple(
                (coordinate_at_scale(x, scale), coordinate_at_scale(y, scale))
                for x, y in one.points
            ),
            one.diameter_px * scale,
        )
        for one in strokes
        if one.role == "nearer"
    )


def _paint(layer: NDArray[np.uint8], stroke: Stroke, value: int, scale: float) -> None:
    """Set the pixels whose centre lies under a stroke."""
    places = coordinate_at_scale(np.asarray(stroke.points, np.float64), scale)
    # A brush thinner than a pixel still marks the pixels that its line runs through.
    reach = max(stroke.diameter_px * scale, 1.0) / 2
    for start, end in pairwise([places[0], *places]):
        rows, columns = _box(start, end, reach, layer.shape)
        if rows.stop > rows.start and columns.stop > columns.start:
            near = _near(start, end, reach, rows, columns)
            layer[rows, columns][near] = value


def _box(start: _Place, end: _Place, reach: float, shape: tuple[int, ...]) -> tuple[slice, slice]:
    """Return the rows and columns around a segment."""
    low = np.floor(np.minimum(start, end) - reach).astype(int)
    high = np.ceil(np.maximum(start, end) + reach).astype(int) + 1
    columns = slice(max(int(low[0]), 0), min(int(high[0]), shape[1]))
    return slice(max(int(low[1]), 0), min(int(high[1]), shape[0])), columns


def _near(start: _Place, end: _Place, reach: float, rows: slice, columns: slice) -> Bool:
    """Return which pixel centres of a box lie within `reach` of a segment."""
    x = np.arange(columns.start, columns.stop, dtype=np.float32)[None, :] - np.float32(start[0])
    y = np.arange(rows.start, rows.stop, dtype=np.float32)[:, None] - np.float32(start[1])
    along = (end - start).astype(np.float32)
    length = float(along @ along)
    share = np.clip((x * along[0] + y * along[1]) / length, 0, 1) if length else np.float32(0)
    square = np.square(x - share * along[0]) + np.square(y - share * along[1])
    return np.asarray(square <= np.float32(reach * reach), np.bool_)


def strokes_document(strokes: Iterable[Stroke], size: tuple[int, int]) -> dict[str, Any]:
    """Return strokes as JSON holds them, schema "blendkit.strokes/1"."""
    return {
        "schema": SCHEMA,
        "size": list(size),
        "strokes": [
            {
                "points": [list(point) for point in stroke.points],
                "diameter_px": stroke.diameter_px,
                "role": stroke.role,
            }
            for stroke in strokes
        ],
    }


def strokes_from(
    document: Any, *, size: tuple[int, int] | None = None, name: str = "strokes"
) -> tuple[Stroke, ...]:
    """Return the strokes of a document.

    Parameters
    ----------
    document : what JSON gave.
    size : (width, height) that they must be made for; None takes any.
    name : how messages call it.

    Raises
    ------
    InputError : not such a document, or made for another size.
    """
    if not isinstance(document, dict) or document.get("schema") != SCHEMA:
        raise InputError(f"{name}: is not of schema {SCHEMA}; save the strokes again")
    made_for = document.get("size")
    if size is not None and made_for is None:
        raise InputError(f"{name}: has no size; write the background frame's, as {list(size)}")
    if size is not None and made_for != list(size):
        raise InputError(
            f"{name}: is made for {made_for} px, but the background frame has {list(size)}; "
            "paint over this frame"
        )
    strokes = document.get("strokes")
    if not isinstance(strokes, list):
        raise InputError(f"{name}: has no list of strokes; save the strokes again")
    return tuple(_stroke(item, f"{name}, stroke {k}") for k, item in enumerate(strokes, start=1))


def _stroke(item: Any, name: str) -> Stroke:
    if not isinstance(item, dict) or item.get("role") not in get_args(Role):
        raise InputError(f"{name}: its role is none of {', '.join(get_args(Role))}; paint it again")
    points, diameter = item.get("points"), _number(item.get("diameter_px"))
    if diameter is None or not 0 < diameter <= LARGEST_PX:
        raise InputError(
            f"{name}: diameter_px = {item.get('diameter_px')!r}; "
            f"write a number above 0 and up to {LARGEST_PX}, in px"
        )
    if not isinstance(points, list) or not points:
        raise InputError(f"{name}: has no points; paint it again")
    if item["role"] == "nearer" and len(points) < 2:
        raise InputError(f"{name}: nearer needs 2 points, from far to near; draw a line")
    places = tuple(_place(point, name) for point in points)
    return Stroke(places, diameter, cast("Role", item["role"]))


def _place(point: Any, name: str) -> tuple[float, float]:
    values = [_number(value) for value in point] if isinstance(point, list) else []
    if len(values) != 2 or any(value is None or abs(value) > LARGEST_PX for value in values):
        raise InputError(f"{name}: {point!r} is no point [x, y] in px; paint it again")
    return cast("tuple[float, float]", tuple(values))


def _number(value: Any) -> float | None:
    """Return a finite number, None for anything else; true and false are not numbers."""
    if isinstance(value, bool) or not isinstance(value, int | float):
        return None
    try:
        number = float(value)
    except OverflowError:  # a whole number of hundreds of digits
        return None
    return number if math.isfinite(number) else None
