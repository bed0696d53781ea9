"""A quick preview: the pair reduced to what a screen shows, and where the picture may lie."""

from dataclasses import replace
from pathlib import Path

import click

from blendkit.errors import InputError
from blendkit.files.there import exists
from blendkit.files.write import SOFTWARE, software_of
from blendkit.filters.resample import any_in_cells, coordinate_at_scale, reduce_by
from blendkit.frame import Float, Frame
from blendkit.hints import Hints, NearerLine
from blendkit.report.bundle import refusal_path, target_paths
from blendkit.report.inputs import Pair

PREVIEW_SOFTWARE = f"{SOFTWARE}, preview"
"""Tag Software of a preview: what does not carry it is somebody's picture, and stays."""


def preview_path(output: Path) -> Path:
    """Return where a preview goes: to `output`, unless a result is, or belongs, there.

    A result need not have its report beside it, so only a file that says of itself that it is a
    preview is replaced.

    Raises
    ------
    InputError : the name beside it is another picture's, too.
    """
    report = target_paths(output)["report"]
    if _may_replace(output) and refusal_path(report) == report:
        return output
    beside = output.with_stem(f"{output.stem}-small")
    if not _may_replace(beside):
        raise InputError(
            f"{beside}: is no preview and {output.name} is a result's: give another name with -o"
        )
    click.echo(f"{output} is kept for a result in full; the preview is {beside.name}", err=True)
    return beside


def _may_replace(path: Path) -> bool:
    try:
        return not exists(path) or software_of(path).endswith(", preview")
    except InputError:  # not even a picture
        return False


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
    full = frame.clipped  # a cell is clipped where any of its pixels is
    clipped = None if full is None else any_in_cells(full, factor)
    return replace(frame, pixels=reduce_by(frame.pixels, factor), clipped=clipped)


def _mask(mask: Float | None, factor: int) -> Float | None:
    return None if mask is None else reduce_by(mask, factor)


def _place(point: tuple[float, float], factor: int) -> tuple[float, float]:
    """Return a point of the full frame in px of the reduced one."""
    return coordinate_at_scale(point[0], 1 / factor), coordinate_at_scale(point[1], 1 / factor)
