"""What the user painted or knows about a pair: hints for the stages, none of them a verdict."""

from dataclasses import dataclass

import numpy as np

from blendkit.errors import InputError
from blendkit.frame import Bool, Float, Frame

LEAST_SIDE_PX = 23
"""Grain is measured in blocks of 16 px, where all that the warp reads, 3 or 4 px on, is real."""
MOST_SIDE_PX = 32_766
"""OpenCV's warps count px in 16 bits."""

PAINTED = 0.5
"""From here on a mask or a stroke says that something was painted."""
_RIM = 0.04
_SAME_SHAPE = 0.005


@dataclass(frozen=True, slots=True)
class NearerLine:
    """A line over one surface along which distance falls: points (x, y) px, from far to near."""

    points: tuple[tuple[float, float], ...]
    width_px: float


@dataclass(frozen=True, eq=False, slots=True)
class Hints:
    """Masks are float32 (height, width) of the background frame's size, 0 to 1.

    foreground_mask: inside it the matte is searched.
    background_mask: inside it nothing of the foreground frame is pasted.
    front_strokes, back_strokes: brush strokes, rasterised: a few marks on foreground and on what is
        not; they spread over what hangs together with them.
    nearer: lines over surfaces, from far to near.
    matte: exact coverage, used as it is.
    clear: one more background frame, with the foreground held aside.
    aligned: the frames lie on each other already.
    ties: pairs of (background x, y), (foreground x, y) in px that show the same point.
    """

    foreground_mask: Float | None = None
    background_mask: Float | None = None
    front_strokes: Float | None = None
    back_strokes: Float | None = None
    nearer: tuple[NearerLine, ...] = ()
    matte: Float | None = None
    clear: Frame | None = None
    aligned: bool = False
    ties: tuple[tuple[tuple[float, float], tuple[float, float]], ...] = ()

    def check(self, background: Frame, foreground: Frame) -> None:
        """Raise InputError where sizes differ, or a tie lies outside the picture."""
        if background.size != foreground.size:
            raise InputError(_sizes_differ(background, foreground))
        if self.clear is not None and self.clear.size != background.size:
            raise InputError(_sizes_differ(background, self.clear))
        for name in (
            "foreground_mask",
            "background_mask",
            "front_strokes",
            "back_strokes",
            "matte",
        ):
            mask = getattr(self, name)
            if mask is not None and mask.shape != background.pixels.shape[:2]:
                given = f"{mask.shape[1]}x{mask.shape[0]}"
                wanted = "x".join(map(str, background.size))
                raise InputError(
                    f"{name} is {given}, the background frame {wanted}: paint it at that size"
                )
        if min(background.size) < LEAST_SIDE_PX:
            raise InputError(
                f"{background.name} is {'x'.join(map(str, background.size))} px: "
                f"give pictures of at least {LEAST_SIDE_PX} px a side"
            )
        if max(background.size) > MOST_SIDE_PX:
            raise InputError(
                f"{background.name} is {'x'.join(map(str, background.size))} px: up to "
                f"{MOST_SIDE_PX} px a side are merged; give smaller copies of both frames"
            )
        for x, y in (place for tie in self.ties for place in tie):
            if not (-1 <= x <= background.size[0] and -1 <= y <= background.size[1]):
                raise InputError(
                    f"tie point {x:g},{y:g} lies outside the picture of "
                    f"{' x '.join(map(str, background.size))} px: give x,y of a point in it"
                )

    def painted(self, size: tuple[int, int]) -> Bool:
        """Return where foreground was painted or given, bool (height, width)."""
        result = np.zeros((size[1], size[0]), np.bool_)
        for mask, least in (
            (self.foreground_mask, PAINTED),
            (self.front_strokes, PAINTED),
            (self.matte, 0),  # what it covers at all is pasted
        ):
            if mask is not None:
                result |= mask > least
        return result


def _sizes_differ(background: Frame, foreground: Frame) -> str:
    one, other = ("x".join(map(str, frame.size)) for frame in (background, foreground))
    if background.size == foreground.size[::-1]:
        return (
            f"{background.name} is {one} and {foreground.name} is {other}: one is turned by 90 "
            "degrees; turn it, or set its Exif orientation"
        )
    said = f"{background.name} is {one} and {foreground.name} is {other}"
    return f"{said}: {_why_sizes_differ(background, foreground)}"


def _why_sizes_differ(one: Frame, other: Frame) -> str:
    """Return the likeliest reason, with what to do."""
    ratios = [a / b for a, b in zip(one.size, other.size, strict=True)]
    cameras = {one.capture.camera, other.capture.camera} - {None}
    if all(abs(np.log(ratio)) < _RIM for ratio in ratios) and len(cameras) < 2:
        return (
            "they differ by a rim, as a camera's JPEG does from its RAW; "
            "give both as RAW, or both as JPEG"
        )
    if abs(np.log(ratios[0] / ratios[1])) < _SAME_SHAPE:
        return "one may be a reduced copy; give both at full size"
    if len(cameras) == 2:
        return (
            f"they come from {' and '.join(sorted(map(str, cameras)))}; give a pair of one camera"
        )
    return "one is cropped; take both from one kind of file, in one size and crop"
