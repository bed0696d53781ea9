"""What a plan consists of."""

from dataclasses import dataclass
from typing import Literal, NamedTuple

from blendkit.plan.scene import Scene

Role = Literal["background", "foreground", "bridge", "single"]


class Interval(NamedTuple):
    """Distances in m from near to far; far_m may be inf."""

    near_m: float
    far_m: float


class Exposure(NamedTuple):
    """An engraved f-number and a focus distance in m."""

    f_number: float
    focus_distance_m: float


class Discs(NamedTuple):
    """Blur discs on the sensor in one unit; foreground is None where there is none."""

    foreground: float | None
    subject: float
    background: float


@dataclass(frozen=True, slots=True)
class FramePlan:
    """One frame: what it holds sharp, and how soft the rest is.

    f_number is as engraved; everything else follows from exact_f_number.
    """

    role: Role
    f_number: float
    exact_f_number: float
    focus_distance_m: float
    sharp: Interval
    hyperfocal_m: float
    airy_disc_mm: float
    blur_disc_mm: Discs
    blur_disc_px: Discs
    blur_disc_height: Discs

    @property
    def exposure(self) -> Exposure:
        """f-number and focus distance alone."""
        return Exposure(self.f_number, self.focus_distance_m)


@dataclass(frozen=True, slots=True)
class OneFrame:
    """The single frame that would hold all that shall be sharp.

    f_number is the engraved one that reaches far enough (None: beyond f/64).  "enough": the wide
    f-number reaches, or one whose background is as soft or softer; "at a price": one up to f/22
    (or the stopped one) reaches, with the background less soft; "no": none does.
    """

    focus_distance_m: float
    exact_f_number: float
    f_number: float | None
    verdict: Literal["enough", "at a price", "no"]


@dataclass(frozen=True, slots=True)
class Bridge:
    """How a gap is closed: by the frames listed.

    worst_disc_mm, at worst_at_m, is the softest that the gap leaves anything.  least_f_number is
    what a single frame would take, in use or not.
    """

    gap: Interval
    worst_disc_mm: float
    worst_at_m: float
    frames: tuple[Exposure, ...]
    least_f_number: float


@dataclass(frozen=True, slots=True)
class Limits:
    """f-numbers past which the Airy disc is the larger blur, by two standards.

    by_print: larger than the circle of confusion; by_pixels: larger than two pixels.
    """

    by_print: float
    by_pixels: float


@dataclass(frozen=True, slots=True)
class Framing:
    """Angles in degrees (width, height, diagonal) and what is covered in m (width, height)."""

    field_of_view_deg: tuple[float, float, float]
    subject_m: tuple[float, float]
    background_m: tuple[float, float]


@dataclass(frozen=True, slots=True)
class Sway:
    """Longest shutter times in s in which the stated sway blurs by one px."""

    subject_s: float
    foreground_s: float | None


@dataclass(frozen=True, slots=True)
class Plan:
    """All that is known before the shoot.

    frames: the two as asked for.  gaps: stretches of `wanted` that neither holds sharp.
    advised: the frames to take.  advised_gaps: what they leave, and how to bridge it.
    bracket: the fewest frames at one f-number that hold all of `wanted` sharp.
    exposure_steps: light in EV that the second of `frames` loses against the first.
    """

    scene: Scene
    wanted: Interval
    frames: tuple[FramePlan, ...]
    gaps: tuple[Interval, ...]
    one_frame: OneFrame
    advised: tuple[FramePlan, ...]
    advised_gaps: tuple[Interval, ...]
    bridges: tuple[Bridge, ...]
    bracket: tuple[Exposure, ...]
    limits: Limits
    framing: Framing
    exposure_steps: float
    parallax_px_per_mm: float | None
    sway: Sway | None
    advice: tuple[str, ...] = ()
