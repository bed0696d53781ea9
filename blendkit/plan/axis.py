"""The reciprocal scale of distance that both diagrams share.

In 1/distance a blur disc grows in a straight line on both sides of the focus, and a depth of field
is about equally wide wherever it lies.
"""

import math
from dataclasses import dataclass

from blendkit.plan.records import Interval, Plan

NICE_M = tuple(
    mantissa * 10.0**power for power in range(-2, 4) for mantissa in (1, 1.5, 2, 3, 4, 5, 7)
)
FEWEST_TICKS = 4
BEFORE, BEHIND = 0.08, 0.25
"""Room in front of the nearest and behind the farthest mark, as a share of what lies between."""


@dataclass(frozen=True, slots=True)
class Axis:
    """Reciprocal distances in 1/m at the left (near) and right (far) end."""

    left: float
    right: float

    def position(self, distance_m: float) -> float:
        """Return where a distance lies, 0 at the near end, 1 at the far end, not beyond."""
        inverse = 0.0 if math.isinf(distance_m) else 1.0 / distance_m
        return min(max((self.left - inverse) / (self.left - self.right), 0.0), 1.0)

    def distance_m(self, position: float) -> float:
        """Return the distance at a position from 0 to 1."""
        inverse = self.left + (self.right - self.left) * position
        return math.inf if inverse <= self.left * 1e-12 else 1.0 / inverse

    def ticks_m(self) -> list[float]:
        """Return round distances inside the axis, and infinity where it is on it."""
        ends = self.distance_m(0.0), self.distance_m(1.0)
        ticks = [tick for tick in NICE_M if ends[0] <= tick <= ends[1]]
        if self.right == 0:
            return [*ticks, math.inf]
        return ticks if len(ticks) >= FEWEST_TICKS else _even_ticks_m(*ends)


def _even_ticks_m(near_m: float, far_m: float) -> list[float]:
    """Return multiples of 1, 2 or 5 times a power of ten: a short stretch has few other numbers."""
    coarsest = (far_m - near_m) / FEWEST_TICKS
    power = 10.0 ** math.floor(math.log10(coarsest))
    step = max(factor * power for factor in (1, 2, 5) if factor * power <= coarsest)
    first, last = math.ceil(near_m / step), math.floor(far_m / step)
    return [float(f"{step * count:.6g}") for count in range(first, last + 1)]


def axis_for(plan: Plan) -> Axis:
    """Return an axis that shows all distances of a plan and what its frames hold sharp."""
    marks = [distance for _, distance in places(plan)]
    marks += [frame.focus_distance_m for frame in (*plan.advised, *plan.frames)]
    inverses = [0.0 if math.isinf(mark) else 1.0 / mark for mark in marks]
    near, far = max(inverses), min(inverses)
    room = max(near - far, 0.05 * near)
    nearest = 1000 / plan.scene.focal_length_mm * 0.98
    right = far - BEHIND * room
    return Axis(min(near + BEFORE * room, nearest), right if right > BEHIND * room else 0.0)


def places(plan: Plan) -> list[tuple[str, float]]:
    """Return the named distances in m, near to far."""
    scene = plan.scene
    near = [] if scene.foreground_at_m is None else [("foreground", scene.foreground_at_m)]
    return [*near, ("subject", scene.subject_at_m), ("background", scene.background_m)]


def clipped(axis: Axis, interval: Interval) -> tuple[float, float]:
    """Return where an interval starts and ends on the axis, 0 to 1."""
    return axis.position(interval.near_m), axis.position(interval.far_m)
