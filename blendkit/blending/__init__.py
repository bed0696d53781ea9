"""Takes the veil of the blurred foreground out of the background frame and lays the sharp one in.

Layered model, all in linear light, with foreground colour F, matte a, disc kernel k:

    foreground frame  S = a F + (1 - a) B_s
    background frame  W = (aF)*k + (1 - a*k) B_w
    plate             B_w = (W - (aF)*k) / (1 - a*k)          where a*k stays below about 0.6
                      B_w ~ ((1-a) B_s)*k_b / ((1-a)*k_b)     elsewhere (k_b: the background's disc)
    result            a F + (1 - a) B_w

`sketch` and `discs` find k per group of boughs, `rerender` the second form of the plate, `plate`
joins both, `clear` takes it from a frame without foreground, `grain` matches noise, `compose` lays
the picture together and keeps its source map.
"""

from dataclasses import dataclass
from typing import Protocol

import numpy as np

from blendkit.filters.patches import Patch
from blendkit.filters.resample import enlarged_part
from blendkit.filters.rim_cut import RimCut
from blendkit.filters.tiles import Window, whole
from blendkit.frame import Bool, Float, Warped

UNCUT = RimCut()
"""An aperture that is the same disc all over the picture, as of a lens stopped down."""


@dataclass(frozen=True, eq=False, slots=True)
class Laid:
    """Both frames on one grid in one light, and what is known about each place.

    background, aligned: float32 (height, width, 3), linear.  missing: light that bright points
    behind lack in `aligned`, by what the background frame shows; what is re-rendered has it.
    lights: bool (height, width), their discs in the background frame.  footprint: bool, where the
    foreground frame reaches.  The rest float32 (height, width): softness and sharpness, the disc by
    which the background frame is the softer and the sharper one, px; kept, 1 where the plate is the
    background frame, fading inside what the user painted (bool).  blind: bool, where one frame or
    the other says nothing.  full: bool, where the background frame is clipped and the foreground
    frame is not.  clear: the clear frame in the same light.  factor: reduction at which the
    foreground is sharp in its own frame.  own_disc_px: its disc there as the first look read it,
    px; None where it is sharp.  refocused: whether that frame is focused on it, and on little else.
    color_blur_px: by how much that frame's colour is softer than its luminance, standard deviation.
    """

    background: Float
    aligned: Float
    missing: tuple[Patch, ...]
    lights: Bool
    footprint: Bool
    softness: Float
    sharpness: Float
    kept: Float
    painted: Bool
    blind: Bool
    full: Bool
    clear: Warped | None
    factor: int = 1
    own_disc_px: float | None = None
    refocused: bool = False
    color_blur_px: float = 0.0

    @property
    def sitter(self) -> Float:
        """Where the background frame stays, float32 (height, width): 1 where nobody painted."""
        return np.asarray(self.kept * ~self.painted, np.float32)


@dataclass(frozen=True, eq=False, slots=True)
class BoughGroup:
    """Foreground that shares one disc and one displacement.

    share: float32 (height, width), the group's part of the matte, 0 to 1, all groups add up to 1.
    disc_px: its blur disc in the background frame.
    shift_px: (x, y) by which its blurred image lies beside the sharp one.
    rim: how the rims of the lens cut the disc towards the picture's corners.
    """

    share: Float
    disc_px: float
    shift_px: tuple[float, float]
    rim: RimCut = UNCUT


@dataclass(frozen=True, eq=False, slots=True)
class Veil:
    """What the blurred foreground adds to the background frame.

    coverage: a*k, float32 (height, width), 0 to 1.
    parts: (aF)*k and a*k of each group, float32 (height, width, 4), and the factor they are reduced
        by: blurred, they hold nothing finer, and the light is put together where it is asked for.
    """

    coverage: Float
    parts: tuple[tuple[Float, int], ...]

    def at(self, part: Window) -> tuple[Float, Float]:
        """Return a*k, (height, width), and (aF)*k, (height, width, 3), linear, of a part."""
        total = np.zeros((*self.coverage[part].shape, 4), np.float32)
        for small, factor in self.parts:
            total += enlarged_part(small, factor, part)
        return np.clip(total[..., 3], 0, 1), np.maximum(total[..., :3], 0)

    def over(self, plate: Float) -> Float:
        """Return W = (aF)*k + (1 - a*k) B, what a plate, (height, width, 3), looks like behind."""
        coverage, light = self.at(whole(plate.shape))
        return np.asarray(light + (1 - coverage[..., None]) * plate, np.float32)


class Backdrop(Protocol):
    """What lies behind the foreground, as far as another frame shows it."""

    @property
    def known(self) -> Bool:
        """Where it was worked out, bool (height, width)."""

    def at(self, part: Window) -> tuple[Float, Float]:
        """Return pixels, float32 (height, width, 3), and mass, (height, width), of a part.

        mass: how much each pixel rests on; 1 where nothing was left out.
        """


@dataclass(frozen=True, eq=False, slots=True)
class WholeBackdrop:
    """A backdrop held whole: pixels, float32 (height, width, 3), and mass, (height, width)."""

    pixels: Float
    mass: Float

    @property
    def known(self) -> Bool:
        """Where it was worked out, bool (height, width)."""
        return np.asarray(self.mass > 0, np.bool_)

    def at(self, part: Window) -> tuple[Float, Float]:
        """Return pixels and mass of a part."""
        return self.pixels[part], self.mass[part]


@dataclass(frozen=True, eq=False, slots=True)
class Plate:
    """The background frame without the foreground and its veil.

    background: the background frame, float32 (height, width, 3).
    beneath: the plate where it is touched; 0 elsewhere, which takes no memory until it is written.
    divided: share of division against re-rendering, float32 (height, width), 1 = all divided; has
        a meaning where the plate is touched.
    touched: bool (height, width); False where the background frame is kept to the last bit.
    cleared: bool (height, width), where a clear frame shows it; None without one.
    """

    background: Float
    beneath: Float
    divided: Float
    touched: Bool
    cleared: Bool | None = None

    def at(self, part: Window) -> Float:
        """Return the pixels of a part, float32 (height, width, 3)."""
        touched = self.touched[part][..., None]
        return np.where(touched, self.beneath[part], self.background[part])

    @property
    def pixels(self) -> Float:
        """The whole of it, put together anew: float32 (height, width, 3)."""
        return self.at(whole(self.touched.shape))
