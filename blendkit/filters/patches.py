"""Patches: light to add to a few small windows of a picture that is not to be copied."""

from collections.abc import Iterable
from dataclasses import dataclass

from blendkit.filters.resample import put_reduced, reduce_by
from blendkit.filters.tiles import Window, inside
from blendkit.frame import Float


@dataclass(frozen=True, eq=False, slots=True)
class Patch:
    """Light to add in one window, float32 (height, width, 3) of the window."""

    window: Window
    light: Float


def patched(pixels: Float, part: Window, patches: Iterable[Patch]) -> Float:
    """Return a part of a picture with the patches that reach into it.

    pixels: float32 (height, width, 3), unchanged; a view of it where no patch lies.

    Examples
    --------
    >>> import numpy as np
    >>> one = Patch((slice(2, 4), slice(2, 4)), np.ones((2, 2, 3), np.float32))
    >>> float(patched(np.zeros((9, 9, 3), np.float32), (slice(3, 5), slice(0, 9)), [one]).sum())
    6.0
    """
    values, own = pixels[part], None
    for patch in patches:
        shared = _shared(part, patch.window)
        if shared is None:
            continue
        own = values.copy() if own is None else own
        own[inside(shared, part)] += patch.light[inside(shared, patch.window)]
    return values if own is None else own


def reduced_patched(pixels: Float, patches: Iterable[Patch], factor: int) -> Float:
    """Return the picture with its patches, reduced by a factor; see `reduce_by`."""
    patches = tuple(patches)
    if not patches:
        return reduce_by(pixels, factor)
    small = reduce_by(pixels, factor).copy()
    for patch in patches:
        rows, columns = (
            slice(p.start // factor * factor, min(-(-p.stop // factor) * factor, n))
            for p, n in zip(patch.window, pixels.shape[:2], strict=True)
        )
        put_reduced(small, patched(pixels, (rows, columns), patches), (rows, columns), factor)
    return small


def _shared(one: Window, other: Window) -> Window | None:
    """Return what two windows have in common; None where that is nothing."""
    rows, columns = (
        slice(max(a.start, b.start), min(a.stop, b.stop)) for a, b in zip(one, other, strict=True)
    )
    return (rows, columns) if rows.start < rows.stop and columns.start < columns.stop else None
