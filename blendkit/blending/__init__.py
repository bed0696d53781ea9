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

from blendkit.frame import Bool, Float, Warped


@dataclass(frozen=True, eq=False, slots=True)
class Laid:
    """Both frames on one grid in one light, and what is known about each place.

    background, aligned: float32 (height, width, 3), linear.  restored: aligned, with bright points
    behind as strong as the background frame shows them; what is re-rendered.  lights: bool (height,
    width), their discs in the background frame.  footprint: bool, where the foreground frame
    reaches.  The rest float32 (height, width): softness and sharpness, the
    disc by which the background frame is the softer and the sharper one, px; sitter, 1 where the
    background frame stays; unsure, 1 where it says nothing about what lies behind.  full: bool,
    where the background frame is clipped and the foreground frame is not.  clear: the clear frame
    in the same light.
    """

    background: Float
    aligned: Float
    restored: Float
    lights: Bool
    footprint: Bool
    softness: Float
    sharpness: Float
    sitter: Float
    unsure: Float
    full: Bool
    clear: Warped | None


@dataclass(frozen=True, eq=False, slots=True)
class BoughGroup:
    """Foreground that shares one disc and one displacement.

    share: float32 (height, width), the group's part of the matte, 0 to 1, all groups add up to 1.
    disc_px: its blur disc in the background frame.
    shift_px: (x, y) by which its blurred image lies beside the sharp one.
    """

    share: Float
    disc_px: float
    shift_px: tuple[float, float]


@dataclass(frozen=True, eq=False, slots=True)
class Veil:
    """What the blurred foreground adds to the background frame.

    coverage: a*k, float32 (height, width), 0 to 1.
    light: (aF)*k, float32 (height, width, 3), linear.
    """

    coverage: Float
    light: Float


@dataclass(frozen=True, eq=False, slots=True)
class Plate:
    """The background frame without the foreground and its veil.

    pixels: float32 (height, width, 3).
    divided: share of division against re-rendering, float32 (height, width), 1 = all divided.
    touched: bool (height, width); False where the background frame is kept to the last bit.
    cleared: bool (height, width), where a clear frame shows it; None without one.
    """

    pixels: Float
    divided: Float
    touched: Bool
    cleared: Bool | None = None
