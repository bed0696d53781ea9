"""Renders a zone as it would look at an f-number between the two frames'.

Blur discs of one focus go with 1/N.  The frame that is sharper there is blurred on to the disc
wanted; what it cannot show (behind the boughs, past its rim) stays as the softer frame has it.

With y the disc in the background frame of something behind its focus, r the ratio of the
apertures' widths (N of the background frame over N of the foreground frame) and g the disc that the
foreground frame has where the background frame is focused, the foreground frame's disc is r y + g
(thin lens: both discs are linear in 1/distance), and the softness s measured between the frames is
s^2 = y^2 - (r y + g)^2.
"""

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from blendkit.blending import UNCUT, BoughGroup, Plate
from blendkit.blending.rerender import rerender
from blendkit.blending.veil import make_veil
from blendkit.errors import InputError
from blendkit.filters.bands import slow_gaussian
from blendkit.filters.patches import Patch
from blendkit.filters.tiles import whole
from blendkit.frame import Capture, Float
from blendkit.settings import ApertureSettings

_LEAST_MASS = 0.3
_LEAST_SHARE = 1e-3
"""Below it nothing is re-rendered: what rounding leaves of two discs must not touch the ground."""
_HALF = 0.5
_LEAST_DISC_PX = 0.5


def check_f_numbers(settings: ApertureSettings, captures: tuple[Capture, Capture]) -> None:
    """Raise InputError unless each f-number asked for lies between the two frames'."""
    _check(settings.foreground_f, *captures, option="--foreground-f")
    _check(settings.background_f, *captures, option="--background-f")


def _check(wanted: float | None, background: Capture, foreground: Capture, *, option: str) -> None:
    if wanted is None:
        return
    low, high = background.f_number, foreground.f_number
    if not low or not high:
        raise InputError(
            f"{option} {wanted:g}: the frames do not record their f-numbers; "
            "write them into the files' Exif, or leave this out"
        )
    if not low < high:
        raise InputError(
            f"{option} {wanted:g}: needs frames at two apertures, these are f/{low:g} and "
            f"f/{high:g}; leave it out"
        )
    if not low <= wanted <= high:
        raise InputError(
            f"{option} {wanted:g}: the frames are f/{low:g} and f/{high:g}; choose one in between"
        )


def disc_behind_px(softness: Float, ratio: float, gap_px: float) -> Float:
    """Return y, the disc in the background frame, from the softness s between the frames.

    >>> s = np.array([0.0, 30.0], np.float32)
    >>> [round(float(v), 2) for v in disc_behind_px(s, 0.175, 0.0)]
    [0.0, 30.47]
    """
    r, g = ratio, gap_px
    root = np.sqrt((r * g) ** 2 + (1 - r**2) * (g**2 + np.square(softness)))
    return np.asarray((r * g + root) / (1 - r**2), np.float32)


def background_at(
    plate: Plate,
    aligned: Float,
    keep: Float,
    softness: Float,
    sitter: Float,
    *,
    f_numbers: tuple[float, float, float],
    gap_px: float,
    patches: Sequence[Patch] = (),
) -> Plate:
    """Return the plate as it would be at another f-number.

    Parameters
    ----------
    plate : Plate
    aligned : ndarray
        Foreground frame in the plate's light, float32 (height, width, 3), linear.
    keep : ndarray
        Share of each of its pixels that shows background, float32 (height, width).
    softness : ndarray
        Disc by which the background frame is the softer one, px, float32 (height, width).
    sitter : ndarray
        float32 (height, width), 1 where the background frame stays.
    f_numbers : (float, float, float)
        Of the background frame, the foreground frame, and the one wanted.
    gap_px : float
        Disc of the foreground frame where the background frame is focused.
    patches : sequence of Patch
        Light to add to `aligned`.
    """
    wide, narrow, wanted = f_numbers
    ratio = wide / narrow
    soft = np.maximum(softness, 0)
    disc = disc_behind_px(soft, ratio, gap_px)
    there = ratio * disc + gap_px
    extra = np.sqrt(np.maximum(np.square(disc * wide / wanted) - np.square(there), 0))
    disc_px = np.minimum(extra, soft).astype(np.float32)
    rendered, mass = rerender(aligned, keep, disc_px, patches=patches)
    share = np.clip(soft - extra, 0, 1) * (1 - sitter)
    share *= np.clip((mass - _LEAST_MASS) / _LEAST_MASS, 0, 1)
    share[share < _LEAST_SHARE] = 0
    pixels = plate.pixels
    rendered = rendered + _slow_difference(pixels, rendered, share)
    beneath = pixels + share[..., None] * (np.maximum(rendered, 0) - pixels)
    return replace(
        plate,
        beneath=np.asarray(beneath, np.float32),
        divided=np.where(plate.touched, plate.divided, 1) * np.float32(1 - share),
        touched=plate.touched | (share > 0),
        cleared=None if plate.cleared is None else plate.cleared & (share < _HALF),
    )


def _slow_difference(plate: Float, rendered: Float, share: Float) -> Float:
    """Return the slow difference of light, which no change of aperture explains."""
    sigma = max(share.shape) / 60
    mass = slow_gaussian(share.astype(np.float32), sigma)[..., None]
    mean = slow_gaussian(((plate - rendered) * share[..., None]).astype(np.float32), sigma)
    return np.asarray(mean / (mass + 0.05), np.float32)


def foreground_at(
    alpha: Float,
    color: Float,
    groups: tuple[BoughGroup, ...],
    own_disc_px: float,
    *,
    f_numbers: tuple[float, float, float],
) -> tuple[Float, Float]:
    """Return matte and colour of the foreground as it would be at another f-number.

    From the foreground frame's disc there to the background frame's it grows with 1/N, whether or
    not both frames had one focus.

    Parameters
    ----------
    alpha, color : ndarray
        Matte and straight colour of the sharp foreground.
    groups : tuple of BoughGroup
        With the discs, px, that turn the foreground frame's foreground into the background frame's.
    own_disc_px : float
        The disc that the foreground frame itself has there.
    f_numbers : (float, float, float)
        Of the background frame, the foreground frame, and the one wanted.

    Returns
    -------
    ndarray, ndarray
        The very arrays given where nothing gets softer.
    """
    wide, narrow, wanted = f_numbers
    share = (1 / wanted - 1 / narrow) / (1 / wide - 1 / narrow)
    # Variances add: a disc on top of the frame's own is smaller than the background frame's whole.
    whole_px = [float(np.hypot(group.disc_px, own_disc_px)) for group in groups]
    discs_px = [own_disc_px + share * (disc - own_disc_px) for disc in whole_px]
    more_px = [float(np.sqrt(max(disc**2 - own_disc_px**2, 0))) for disc in discs_px]
    if max(more_px, default=0) < _LEAST_DISC_PX:
        return alpha, color
    softer = tuple(
        replace(group, disc_px=disc, shift_px=(0.0, 0.0), rim=UNCUT)
        for group, disc in zip(groups, more_px, strict=True)
    )
    veil = make_veil(alpha, color, softer)
    coverage, light = veil.at(whole(alpha.shape))
    inside = coverage[..., None]
    straight = np.where(inside > 1e-4, light / np.maximum(inside, 1e-4), color)
    return coverage, np.asarray(straight, np.float32)
