"""Sharpness of the two frames against each other, noise taken out.

`noise` measures each frame's grain; `relative` finds, pixel by pixel, the disc by which the sharper
frame must be blurred to look like the softer one.
"""

from dataclasses import dataclass

from blendkit.frame import Float


@dataclass(frozen=True, eq=False, slots=True)
class RelativeBlur:
    """By how much one frame is softer than the other.

    disc_px: float32 (height, width) at 1/factor of full size, in full px; positive where the
        background frame is softer, negative where the foreground frame is.
    confidence: float32, same shape, 0 (no texture, or nothing fits) to 1.
    factor: reduction of both arrays.
    """

    disc_px: Float
    confidence: Float
    factor: int
