"""The checks of a finished merge, each of which may raise flags."""

from collections.abc import Iterator, Sequence

import cv2
import numpy as np

from blendkit.alignment import Alignment
from blendkit.filters.resample import any_in_cells
from blendkit.frame import Bool, Capture, Float, Frame
from blendkit.midground import Flag
from blendkit.midground.loudness import blur_severity, just_visible_px
from blendkit.optics import shrinking_f_number
from blendkit.settings import ViewingSettings

_MEASURABLE_PX = 4.0
"""Discs below this cannot be told from bark's own texture at a bough's edge."""
_RIM_PX = 5
"""The warp's kernel reads four px to each side, and a shift of less than one moves that rim."""
_LEAST_SHARE, _LEAST_CLIPPED = 1e-4, 5e-4
_LOUD_UNPLACED = 0.005
_SOLID = 0.5
_LOOSE_SHARE = 1 / 800
"""Uncertainty of an alignment that is worth a word, of the long side: 1.5 px of 1200."""
_TOUCH_SHARE, _PLACE_SHARE = 1 / 400, 1 / 40
"""How near to the sitter a bough ends that may run on, and how far apart two places are, of the
long side: 3 and 30 px of 1200."""
_COUNTED_PX = 300
_VEIL_SEEN = 0.05
"""Coverage of a veil from which skin shows it: a twentieth of its contrast."""


def not_covered(footprint: Bool) -> Iterator[Flag]:
    """Flag the rim that the foreground frame does not reach; the background frame stays there."""
    share = 1 - float(footprint.mean())
    if share > _LEAST_SHARE:
        inner = slice(_RIM_PX, -_RIM_PX)
        cure = "frame a little wider, or deliver copies with --trim"
        if footprint[inner, inner].all():  # no framing helps against the resampling's own rim
            cure = "it is the rim that resampling takes; deliver copies with --trim"
        yield Flag(
            "not-covered",
            "note",
            ~footprint,
            f"the foreground frame does not reach {100 * share:.1f} % of the picture",
            f"the background frame stays there; {cure}",
        )


def nothing_found(alpha: Float) -> Iterator[Flag]:
    """Flag a merge that took nothing, or next to nothing, from the foreground frame."""
    taken = alpha > 0
    said = "nothing that stands in front was found: the result is the background frame"
    if taken.any():
        said = (
            "hardly anything that stands in front was found: "
            f"{100 * float(taken.mean()):.2g} % of the picture is taken from the foreground frame"
        )
    if float((alpha > _SOLID).mean()) < _LEAST_SHARE:
        yield Flag(
            "nothing-found",
            "warn",
            np.asarray(taken, np.bool_),
            said,
            "paint roughly over the foreground, 10 to 20 px past its twigs, and merge again",
        )


def loosely_aligned(alignment: Alignment, shape: tuple[int, ...]) -> Iterator[Flag]:
    """Flag frames that do not lie on each other well enough for an edge to meet its blur.

    shape: height and width, px.
    """
    unsure_px, allowed_px = alignment.uncertainty_px, _LOOSE_SHARE * max(shape)
    if unsure_px > allowed_px:
        yield Flag(
            "loosely-aligned",
            "warn",
            np.zeros(shape, np.bool_),
            f"where the frames lie on each other is known to {unsure_px:.1f} px only, "
            f"and more than {allowed_px:.1f} px may leave a rim of the blurred foreground",
            "look at its edges; tie the same points in both frames",
        )


def unplaced_zones(region: Bool) -> Iterator[Flag]:
    """Flag what may be foreground or not: it follows the background frame."""
    share = float(region.mean())
    if share > _LEAST_SHARE:
        yield Flag(
            "unplaced",
            "warn" if share > _LOUD_UNPLACED else "note",
            region,
            f"{100 * share:.2f} % of the picture looks like foreground in one frame "
            "and not in the other",
            "it stays the background frame's; paint it if it is foreground",
        )


def ends_at_sitter(alpha: Float, hers: Bool) -> Iterator[Flag]:
    """Flag boughs that end at the sitter's outline: she is never covered unasked.

    alpha: the matte, float32 (height, width); hers: bool, within her outline.
    """
    ends = _within(alpha > _SOLID, _TOUCH_SHARE) & _within(hers, _TOUCH_SHARE)
    if not ends.any():
        return
    small = any_in_cells(ends, max(max(ends.shape) // _COUNTED_PX, 1))
    count, _ = cv2.connectedComponents(_within(small, _PLACE_SHARE).astype(np.uint8))
    places = "1 place" if count == 2 else f"{count - 1} places"
    yield Flag(
        "ends-at-sitter",
        "note",
        ends,
        f"boughs end at the sitter's outline in {places}",
        "paint them across the sitter if they run on in front; unpainted she stays as she is",
    )


def veil_on_sitter(
    coverage: Float, alpha: Float, sitter: Float, drawn: Bool, discs_px: Sequence[float]
) -> Iterator[Flag]:
    """Flag the veil that boughs painted across the sitter leave on her beside the paint.

    coverage: of the blurred foreground; alpha: the matte; sitter: 1 where she stays the background
    frame's; float32 (height, width).  drawn: bool, where a sitter is.  discs_px: the boughs'.
    """
    hers = sitter > _SOLID
    across = (alpha > _SOLID) & drawn & ~hers
    if float(across.mean()) < _LEAST_SHARE:
        return
    reach_px = max(discs_px, default=0.0) / 2
    veiled = hers & drawn & (coverage > _VEIL_SEEN) & _within(across, reach_px / max(hers.shape))
    if float(veiled.mean()) < _LEAST_SHARE:
        return
    yield Flag(
        "veil-on-sitter",
        "note",
        np.asarray(veiled, np.bool_),
        "the veil of boughs painted across the sitter stays on her beside the paint",
        f"paint {reach_px:.0f} px past them where they cross her, half of their disc; unpainted "
        "she stays as she is",
    )


def _within(region: Bool, share: float) -> Bool:
    """Return a region with what lies within a share of the long side."""
    side = 2 * max(round(share * max(region.shape)), 1) + 1
    kernel = np.ones((side, side), np.uint8)
    return np.asarray(cv2.dilate(region.astype(np.uint8), kernel) > 0, np.bool_)


def clear_not_used(frame: Frame, why: str) -> Iterator[Flag]:
    """Flag a clear frame that could not be laid on the background frame; the pair is enough."""
    yield Flag(
        "clear-not-used",
        "warn",
        np.zeros(frame.pixels.shape[:2], np.bool_),
        f"{frame.name} was given as clear frame and not used: {why}",
        "take it from the same place at the background frame's settings, or leave it out",
    )


def clipped(background: Bool, foreground: Bool) -> Iterator[Flag]:
    """Flag light that one or both frames could not hold."""
    for name, region in (("background", background), ("foreground", foreground)):
        share = float(region.mean())
        if share > _LEAST_CLIPPED:  # less would be told as 0.0 %
            yield Flag(
                "clipped",
                "warn" if share > 0.02 else "note",
                region,
                f"{100 * share:.1f} % of the {name} frame is clipped",
                "the veil cannot be measured there; expose about 1 EV less",
            )


def soft_foreground(
    frame: Frame, alpha: Float, own_disc_px: float | None, viewing: ViewingSettings
) -> Iterator[Flag]:
    """Flag a foreground that the foreground frame itself does not hold sharp.

    own_disc_px: its disc there as measured, None if it could not be.  viewing: the print, whose
        circle of confusion is what still counts as sharp.
    """
    allowed_px = just_visible_px(frame.size, viewing)
    if own_disc_px is None or own_disc_px <= max(allowed_px, _MEASURABLE_PX):
        return
    yield Flag(
        "soft-foreground",
        blur_severity(own_disc_px, allowed_px),
        alpha > 0.5,
        f"the foreground is not sharp in {frame.name}: its disc is about {own_disc_px:.1f} px, "
        f"and {allowed_px:.1f} px still counts as sharp on the print",
        advice_for_sharpness(frame.capture, own_disc_px / allowed_px),
    )


def advice_for_sharpness(capture: Capture, excess: float) -> str:
    """Return which f-number would have cured a disc `excess` times too large."""
    if capture.f_number is None:
        return "focus the foreground frame on the foreground itself, or stop down further"
    cure = shrinking_f_number(capture.f_number, excess)
    if cure is None:
        return (
            f"f/{capture.f_number:g} cannot hold it: "
            "focus the foreground frame on the foreground itself"
        )
    return f"stop down to about f/{cure:g}, or focus the foreground frame on the foreground itself"
