"""The profile of blur along a line down a surface, as a figure in SVG."""

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

from blendkit.frame import Bool, Capture, Float
from blendkit.merge import Merged
from blendkit.midground.loudness import just_visible_px
from blendkit.midground.repaired_ground import grounds_as_repaired
from blendkit.midground.soft_ground import Ground, soft_between_sharp, soft_from_px
from blendkit.optics.recorded_sensor import px_per_mm

_WIDTH, _HEIGHT, _LEFT, _BOTTOM, _TOP = 900, 320, 60, 46, 26


def profile_figure(merged: Merged, captures: tuple[Capture, Capture]) -> str:
    """Return the figure for the largest surface; a sentence where no surface was found.

    The line runs down the surface's steepest way through its middle.  It shows the result's disc,
    both frames' discs, the band that counts as sharp, and the offending band hatched.
    """
    blur = merged.result_blur
    if blur is None or blur.lens.evidence == "unknown":
        return "<h2>Blur along the ground</h2><p>Absolute blur is unknown here.</p>"
    flagged = any(flag.kind == "soft-midground" for flag in merged.flags)
    if not (flagged or blur.lens.gap_px):
        return (
            "<h2>Blur along the ground</h2><p>Both frames are focused at one distance: blur does "
            "not tell there what lies before the sitter from what lies behind.</p>"
        )
    grounds = grounds_as_repaired(blur, merged.matte.alpha)
    if not grounds:
        return "<h2>Blur along the ground</h2><p>No continuous surface was found.</p>"
    ground = grounds[0]
    size = (merged.pixels.shape[1], merged.pixels.shape[0])
    visible = just_visible_px(size, merged.settings.viewing)
    rows, columns = _line(ground)
    soft = soft_between_sharp(ground, soft_from_px(size, visible)) if flagged else None
    offending = np.zeros(len(rows), np.bool_) if soft is None else soft[rows, columns]
    x = ground.nearness[rows, columns]
    curves = {
        "result": blur.disc_px[rows, columns],
        "background frame": np.abs(x),
        "foreground frame": np.abs(blur.lens.ratio * x - blur.lens.gap_px),
    }
    places = np.asarray(rows * blur.factor, np.float32)
    labels = _distances_m(x, captures, size)
    return _svg(places, curves, offending, visible, labels)


def _line(ground: Ground) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Return rows and columns of the line, from the surface's far end to its near end."""
    here = ground.surface.region
    _, along_x, along_y = ground.surface.plane
    rows, columns = np.nonzero(here)
    middle = np.array([columns.mean(), rows.mean()])
    way = np.array([along_x, along_y])
    way = way / max(float(np.hypot(*way)), 1e-9)
    steps = np.arange(-max(here.shape), max(here.shape))
    points = np.rint(middle + steps[:, None] * way).astype(int)
    inside = (points >= 0).all(axis=1) & (points < [here.shape[1], here.shape[0]]).all(axis=1)
    points = points[inside]
    points = points[here[points[:, 1], points[:, 0]]]
    return points[:, 1], points[:, 0]


def _distances_m(
    x: Float, captures: tuple[Capture, Capture], size: tuple[int, int]
) -> Float | None:
    """Return distances along the line from recorded optics; None where they are not recorded."""
    own = captures[0]
    if not (own.f_number and own.focal_length_mm and own.focus_distance_m):
        return None
    focal_m = own.focal_length_mm / 1000
    if own.focus_distance_m <= focal_m:  # no lens images that; who counts from elsewhere may say it
        return None
    scale = own.focal_length_mm**2 / own.f_number / (1 - focal_m / own.focus_distance_m)
    inverse = x / px_per_mm(own, size) * 1000 / scale + 1 / own.focus_distance_m
    return np.asarray(1 / np.maximum(inverse, 1e-3), np.float32)


_LOOKS = (
    ("result", "#000", ""),
    ("background frame", "#0072b2", "6 3"),
    ("foreground frame", "#e69f00", "2 3"),
)
_HATCH = (
    '<defs><pattern id="h" width="7" height="7" patternUnits="userSpaceOnUse">'
    '<path d="M0 7L7 0" stroke="#d55e00"/></pattern></defs>'
)
_FARTHEST_M = 100.0
Scale = Callable[[float], float]


def _svg(
    places: Float,
    curves: dict[str, Float],
    offending: Bool,
    visible: float,
    distances_m: Float | None,
) -> str:
    top = max(float(max(c.max() for c in curves.values())), 2 * visible)
    wide, high = _WIDTH - _LEFT - 10, _HEIGHT - _BOTTOM - _TOP

    def across(index: float) -> float:
        return _LEFT + index / max(len(places) - 1, 1) * wide

    def up(disc: float) -> float:
        return _HEIGHT - _BOTTOM - disc / top * high

    frame = f'<svg viewBox="0 0 {_WIDTH} {_HEIGHT}" role="img" font-size="12"'
    sharp = (
        f'<rect x="{_LEFT}" y="{up(visible):.1f}" width="{wide}" '
        f'height="{up(0) - up(visible):.1f}" fill="#009e73" opacity=".18"/>'
    )
    parts = [frame + ' aria-label="blur profile">', _HATCH]
    parts += _bands(offending, across, up(top), up(0))
    parts += [sharp, *_curves(curves, across, up), *_axes(places, distances_m, across, up, top)]
    return (
        "<h2>Blur along the ground</h2>" + "".join(parts) + '</svg><p class="small">Disc diameter '
        "in px down the largest surface, far to near. Green: looks sharp on the print (up to "
        f"{visible:.1f} px). Hatched: soft between two sharp parts.</p>"
    )


def _curves(curves: dict[str, Float], across: Scale, up: Scale) -> list[str]:
    parts = []
    for order, (name, color, dash) in enumerate(_LOOKS):
        line = " ".join(f"{across(i):.1f},{up(float(d)):.1f}" for i, d in enumerate(curves[name]))
        width = 1.6 if dash else 2.5
        style = f'stroke="{color}" stroke-width="{width}" stroke-dasharray="{dash}"'
        at = _LEFT + 10 + 170 * order
        parts.append(
            f'<polyline points="{line}" fill="none" {style}/>'
            f'<path d="M{at} 12h26" {style}/><text x="{at + 32}" y="16">{name}</text>'
        )
    return parts


def _bands(offending: Bool, across: Scale, top: float, bottom: float) -> list[str]:
    edges = np.flatnonzero(np.diff(np.concatenate([[0], offending.astype(int), [0]])))
    return [
        f'<rect x="{across(a):.1f}" y="{top:.1f}" width="{across(b - 1) - across(a):.1f}" '
        f'height="{bottom - top:.1f}" fill="url(#h)" stroke="#d55e00" opacity=".6"/>'
        for a, b in zip(edges[::2], edges[1::2], strict=True)
    ]


def round_ticks(top: float) -> list[float]:
    """Return two to five round numbers from 0 up to a value.

    >>> round_ticks(41.2), round_ticks(0.9)
    ([0, 10, 20, 30, 40], [0.0, 0.2, 0.4, 0.6, 0.8])
    """
    power = 10 ** int(np.floor(np.log10(top)))
    step = next(s for s in (0.2, 0.5, 1, 2, 5) if top / (s * power) < 5) * power
    return [round(k * step, 6) for k in range(int(top / step) + 1)]


def _axes(
    places: Float, distances_m: Float | None, across: Scale, up: Scale, top: float
) -> list[str]:
    middle = round((_TOP + up(0)) / 2)
    frame = f'<path d="M{_LEFT} {_TOP}V{up(0):.1f}H{_WIDTH - 10}" fill="none" stroke="#444"/>'
    turned = f'<text x="14" y="{middle}" transform="rotate(-90 14 {middle})"'
    parts = [frame, turned + ' text-anchor="middle">disc, px</text>']
    parts += [
        f'<text x="{_LEFT - 6}" y="{up(disc) + 4:.1f}" text-anchor="end">{disc:g}</text>'
        for disc in round_ticks(top)
    ]
    for index in np.linspace(0, len(places) - 1, 6).astype(int):
        text = f"row {int(places[index])}"
        if distances_m is not None:
            # Near infinity a px of error is hundreds of metres: say no more than is known.
            metres = float(distances_m[index])
            text += f", {metres:.1f} m" if metres < _FARTHEST_M else f", &gt;{_FARTHEST_M:g} m"
        anchor = "end" if index == len(places) - 1 else "middle"
        at = f'x="{across(float(index)):.1f}" y="{up(0) + 20:.1f}"'
        parts.append(f'<text {at} text-anchor="{anchor}">{text}</text>')
    return parts
