"""How many pixels a print takes, and which part of the picture goes on it."""

from dataclasses import dataclass, replace

from blendkit.errors import InputError
from blendkit.settings import DeliverySettings

CM_PER_INCH = 2.54
Box = tuple[int, int, int, int]
"""(x, y, width, height) in px."""


@dataclass(frozen=True, slots=True)
class Placement:
    """What is cut from the picture, how large it becomes, and the sheet that it goes on.

    crop: Box in the picture; size: (width, height) after resampling; sheet: (width, height) of
    the delivered file, larger than `size` where a border goes around.
    """

    crop: Box
    size: tuple[int, int]
    sheet: tuple[int, int]


def place(
    size: tuple[int, int],
    settings: DeliverySettings,
    *,
    around: tuple[float, float] | None = None,
    within: Box | None = None,
    name: str = "picture",
) -> Placement:
    """Return where a picture goes on its print.

    A print size is taken upright or across, whichever the picture is.  A picture is never enlarged
    unless the settings say so: then the print has fewer pixels at the same proportions.

    Parameters
    ----------
    size : (width, height) of the picture, px.
    settings : print size, resolution, fit.
    around : (x, y) that a crop keeps in the middle if it can; None = the picture's middle.
    within : the part of the picture that may be printed; None = all of it.
    name : how messages call the picture.

    >>> settings = DeliverySettings(print_width_cm=30, print_height_cm=20, dpi=254, fit="crop")
    >>> place((4000, 3000), settings)
    Placement(crop=(0, 166, 4000, 2667), size=(3000, 2000), sheet=(3000, 2000))
    """
    if within is not None:
        x, y, width, height = within
        inner_around = None if around is None else (around[0] - x, around[1] - y)
        placed = place((width, height), settings, around=inner_around, name=name)
        left, top, *rest = placed.crop
        return replace(placed, crop=(left + x, top + y, rest[0], rest[1]))
    sheet = _sheet(size, settings)
    if sheet is None:
        width, height = _long_edge(size, settings)
        return Placement((0, 0, *size), (width, height), (width, height))
    if settings.fit == "crop":
        crop = _crop(size, sheet, around)
        largest = 1.0 if settings.enlarge else min(crop[2] / sheet[0], crop[3] / sheet[1])
        scale = min(1.0, largest)
        final = _scaled(sheet, scale)
        return Placement(crop, final, final)
    scale = min(sheet[0] / size[0], sheet[1] / size[1])
    if scale > 1 and not settings.enlarge:
        sheet, scale = _scaled(sheet, 1 / scale), 1.0
    inner = min(sheet[0], round(size[0] * scale)), min(sheet[1], round(size[1] * scale))
    if min(inner) < 1:
        raise InputError(f"{name}: nothing is left of it at that print size; choose a larger one")
    return Placement((0, 0, *size), inner, sheet)


def effective_dpi(placement: Placement, settings: DeliverySettings) -> float:
    """Return the resolution at which the delivered file has the print's size."""
    if settings.print_width_cm is None or settings.print_height_cm is None:
        return settings.dpi
    long_cm = max(settings.print_width_cm, settings.print_height_cm)
    return max(placement.sheet) * CM_PER_INCH / long_cm


def _sheet(size: tuple[int, int], settings: DeliverySettings) -> tuple[int, int] | None:
    if settings.print_width_cm is None or settings.print_height_cm is None:
        return None
    sides = sorted(
        round(side * settings.dpi / CM_PER_INCH)
        for side in (settings.print_width_cm, settings.print_height_cm)
    )
    return (sides[1], sides[0]) if size[0] >= size[1] else (sides[0], sides[1])


def _long_edge(size: tuple[int, int], settings: DeliverySettings) -> tuple[int, int]:
    wanted = settings.long_edge_px or max(size)
    scale = wanted / max(size)
    return _scaled(size, scale if settings.enlarge else min(scale, 1.0))


def _scaled(size: tuple[int, int], scale: float) -> tuple[int, int]:
    return max(1, round(size[0] * scale)), max(1, round(size[1] * scale))


def _crop(size: tuple[int, int], sheet: tuple[int, int], around: tuple[float, float] | None) -> Box:
    """Return the largest box with the sheet's proportions, as near to `around` as it fits."""
    scale = min(size[0] / sheet[0], size[1] / sheet[1])
    width, height = min(size[0], round(sheet[0] * scale)), min(size[1], round(sheet[1] * scale))
    x, y = around or ((size[0] - 1) / 2, (size[1] - 1) / 2)
    left = min(max(round(x - (width - 1) / 2), 0), size[0] - width)
    top = min(max(round(y - (height - 1) / 2), 0), size[1] - height)
    return left, top, width, height
