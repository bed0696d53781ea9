"""A missed focus: the sitter, whom the background frame shows, is not sharp in it.

Judged by her strongest edges alone.  Fine texture under a disc keeps small edges that read as
sharp, so most of her edges say nothing; the strongest are outlines, seams and hair, which an edge
model fits (`edge_discs`), and in a frame that holds her they are sharp whatever she wears.  On 27
simulated figures the median of the strongest tenth reads 0.0 px when sharp, and 3.7 to 6.2 px
under discs of 4.7 to 7 px, at ISO 100 and 1600.

Where she stands is the network's word (`masks.sitter`), which takes ground that both frames hold
equally soft for a figure too.  So nothing is said where it sees nobody, or specks all over a wall,
nor where the background frame holds anything else sharp: a focus that fell on the ground behind her
is not found.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from functools import cache

import cv2
import numpy as np

from blendkit.filters.bands import band_pass, gaussian
from blendkit.filters.resample import reduce_by, share_in_cells
from blendkit.frame import Bool, Float, luminance
from blendkit.midground import Flag, Sigma
from blendkit.midground.edge_discs import crest_discs
from blendkit.midground.loudness import TROUBLESOME, blur_severity, just_visible_px
from blendkit.settings import ViewingSettings

_WORKING_PX = 1200
_FINE_PX, _WIDE_PX = 0.8, 1.6
_STRONGEST = 0.1
_LEAST_CRESTS, _LEAST_IN_TILE = 40, 10
_SHARP_PX = 1.5
"""What sharp figures read at most, with room to spare: they read 0."""
_SOFT_PX = 3.0
_DETAIL = 0.3
"""Upper quartile of fine over middle detail from which a zone is sharp, whatever its edges say:
five figures out of focus have 0.07 to 0.18, two sharp ones 0.8 and 1.3, one in
blotched cloth 0.43."""
_FINE_BAND_PX, _MIDDLE_BAND_PX = (0.6, 1.2), (2.0, 4.0)
_TILE, _APART = 0.05, 0.02
"""Side of the tiles that are looked at beside her, and distance from her, as shares of the frame's
long side."""
_LEAST_SHARE, _LARGEST_SHARE = 0.002, 0.45
_ONE_BODY = 1 / 3
"""Least share of the zone in its largest piece; least of 95 figures, cut by boughs: 0.51."""
_AROUND_PX = 8.0
_MIXED = 0.75
"""Noise of luminance over that of one channel."""
_DARK = 0.02
"""Added to light before its logarithm: edges count by contrast, but not those in deep shadow."""


def missed_focus(
    frames: tuple[Float, Float],
    noise: tuple[Sigma, Sigma],
    sitter: Bool,
    viewing: ViewingSettings,
    foreground_name: str,
) -> Iterator[Flag]:
    """Flag a sitter whom the background frame does not hold sharp.

    Parameters
    ----------
    frames : background frame and aligned foreground frame, float32 (height, width, 3), linear.
    noise : of each.
    sitter : bool (height, width), where she stands and nothing hides her.
    viewing : the print that decides how loud the flag is.
    foreground_name : of the foreground frame, for the sentence.
    """
    size = (sitter.shape[1], sitter.shape[0])
    if not _LEAST_SHARE < float(sitter.mean()) < _LARGEST_SHARE:
        return
    visible = just_visible_px(size, viewing)
    # One after the other: here a merge needs most memory.
    edges = [_edges(frame, sigma) for frame, sigma in zip(frames, noise, strict=True)]
    shape = edges[0][0].crest.shape
    factor = _reduction(sitter.shape)
    zone = _grown(share_in_cells(sitter, factor) > 0.5, 5)
    if not _one_body(zone):
        return
    if _any_sharp(edges[0], ~_grown(zone, 2 * round(_APART * max(shape)) + 1)):
        return
    own, other = (_disc_px(read, zone, factor) for read in edges)
    least = max(TROUBLESOME * visible, _SOFT_PX * max(size) / _WORKING_PX)
    if own is None or own < least or _fine_detail(frames[0], noise[0], zone) > _DETAIL:
        return
    yield Flag(
        "missed-focus",
        blur_severity(own, visible),
        sitter,
        f"the sitter is out of focus in the background frame: her strongest edges show a disc of "
        f"about {own:.1f} px, {own / visible:.1f} times the just visible one; "
        + _elsewhere(other, least, foreground_name),
        _advice(other, least, foreground_name),
    )


def _elsewhere(other: float | None, least: float, name: str) -> str:
    if other is None:
        return f"{name} shows too few of her edges to compare"
    if other < least:
        return f"only {name} holds her sharp"
    return f"{name} does not hold her either (about {other:.1f} px)"


def _advice(other: float | None, least: float, name: str) -> str:
    """Say what can be done now, and what the next time."""
    again = "another frame of the series with the focus on the nearer eye cures it"
    if other is not None and other < least:
        return f"paint her as foreground to take her from {name}; {again}"
    return again


@dataclass(frozen=True, eq=False, slots=True)
class _Edges:
    """What one pair of Gaussians reads at a frame's edges: discs and slopes at crests."""

    disc: Float
    crest: Bool
    slope: Float


def _reduction(shape: tuple[int, ...]) -> int:
    """Return by how much a frame is reduced to some 1200 px."""
    return max(round(max(shape[:2]) / _WORKING_PX), 1)


def _edges(frame: Float, sigma: Sigma) -> tuple[_Edges, _Edges]:
    """Read a frame's edges by the fine and the wide pair, at some 1200 px."""
    factor = _reduction(frame.shape)
    small = reduce_by(frame, factor)
    light = luminance(small)
    # In the logarithm noise counts relative to the light it lies on; three channels mix.
    level = gaussian(light, 2.0) + _DARK
    grain = _MIXED * sigma(gaussian(small, 2.0)).mean(axis=2) / level / factor
    tone = np.log(np.maximum(light, 0) + _DARK)
    found = [crest_discs(tone, grain.astype(np.float32), s) for s in (_FINE_PX, _WIDE_PX)]
    return _Edges(*found[0]), _Edges(*found[1])


def _disc_px(
    read: tuple[_Edges, _Edges], zone: Bool, factor: float, *, least: int = _LEAST_CRESTS
) -> float | None:
    """Return the disc that a zone's strongest edges show, full px; None = too few, 0 = sharp."""
    fine, wide = (_typical(edges, zone, least) for edges in read)
    if wide is None:
        return None
    # Under grain the fine pair sees nothing of a soft figure; what it does see must be soft too.
    sharp = wide <= _SHARP_PX or (fine is not None and fine <= _SHARP_PX)
    return 0.0 if sharp else max(wide, fine or 0.0) * factor


def _typical(edges: _Edges, zone: Bool, least: int) -> float | None:
    """Return the median disc of a zone's strongest edges."""
    crest = edges.crest & zone
    if crest.sum() < least / _STRONGEST:
        return None
    strong = crest & (edges.slope >= np.quantile(edges.slope[crest], 1 - _STRONGEST))
    return float(np.median(edges.disc[strong]))


def _fine_detail(frame: Float, sigma: Sigma, zone: Bool) -> float:
    """Return the upper quartile of fine over middle detail in a zone, grain taken out; 0 = none.

    Cloth with broad soft blotches has soft edges even in focus; its weave still shows here.
    """
    factor = _reduction(frame.shape)
    small = reduce_by(frame, factor)
    light = luminance(small)
    variance = np.square(_MIXED * sigma(gaussian(small, 2.0)).mean(axis=2) / factor)
    fine, middle = (
        gaussian(np.square(band_pass(light, *band)), _AROUND_PX)
        for band in (_FINE_BAND_PX, _MIDDLE_BAND_PX)
    )
    grain_fine, grain_middle = (variance * _energy(b) for b in (_FINE_BAND_PX, _MIDDLE_BAND_PX))
    seen = zone & (middle > 30 * grain_middle)
    seen &= middle > np.square(0.01 * gaussian(light, _AROUND_PX))
    if seen.sum() < 200:
        return 0.0
    return float(np.quantile((fine - 1.3 * grain_fine)[seen] / middle[seen], 0.75))


@cache
def _energy(band_px: tuple[float, float]) -> float:
    """Return the variance that white noise of variance 1 keeps in a band."""
    point = np.zeros((65, 65), np.float32)
    point[32, 32] = 1
    return float(np.square(band_pass(point, *band_px)).sum())


def _one_body(zone: Bool) -> bool:
    """Tell whether a zone hangs together as a figure does."""
    _, pieces = cv2.connectedComponents(zone.astype(np.uint8))
    sizes = np.bincount(pieces[zone])
    return bool(sizes.size) and float(sizes.max()) >= _ONE_BODY * float(sizes.sum())


def _any_sharp(read: tuple[_Edges, _Edges], where: Bool) -> bool:
    """Tell whether a frame holds anything sharp, tile by tile.

    Then its focus lies on something, and what is soft may be ground between two focus distances.
    """
    side = round(_TILE * max(where.shape))
    for top in range(0, where.shape[0], side):
        for left in range(0, where.shape[1], side):
            tile = slice(top, top + side), slice(left, left + side)
            part = [_Edges(e.disc[tile], e.crest[tile], e.slope[tile]) for e in read]
            if _disc_px((part[0], part[1]), where[tile], 1.0, least=_LEAST_IN_TILE) == 0.0:
                return True
    return False


def _grown(region: Bool, side: int) -> Bool:
    return cv2.dilate(region.astype(np.uint8), np.ones((side, side), np.uint8)) > 0
