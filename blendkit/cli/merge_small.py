"""A pair reduced to what a screen shows, for a quick preview."""

from dataclasses import replace

from blendkit.filters.resample import reduce_by
from blendkit.frame import Float, Frame
from blendkit.hints import Hints, NearerLine
from blendkit.report.inputs import Pair


def reduced_pair(pair: Pair, factor: int) -> Pair:
    """Return a pair with frames and hints reduced by a whole factor."""
    hints = pair.hints
    small = Hints(
        foreground_mask=_mask(hints.foreground_mask, factor),
        background_mask=_mask(hints.background_mask, factor),
        front_strokes=_mask(hints.front_strokes, factor),
        back_strokes=_mask(hints.back_strokes, factor),
        nearer=tuple(
            NearerLine(tuple(_place(at, factor) for at in line.points), line.width_px / factor)
            for line in hints.nearer
        ),
        matte=_mask(hints.matte, factor),
        clear=None if hints.clear is None else _frame(hints.clear, factor),
        aligned=hints.aligned,
        ties=tuple((_place(first, factor), _place(second, factor)) for first, second in hints.ties),
    )
    background, foreground = (_frame(frame, factor) for frame in (pair.background, pair.foreground))
    return replace(pair, background=background, foreground=foreground, hints=small)


def _frame(frame: Frame, factor: int) -> Frame:
    return replace(frame, pixels=reduce_by(frame.pixels, factor), clipped=None)


def _mask(mask: Float | None, factor: int) -> Float | None:
    return None if mask is None else reduce_by(mask, factor)


def _place(point: tuple[float, float], factor: int) -> tuple[float, float]:
    """Return a point of the full frame in px of the reduced one; see `filters.resample`."""
    offset = (factor - 1) / 2
    return (point[0] - offset) / factor, (point[1] - offset) / factor
