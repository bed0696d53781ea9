"""What keeps a frame at any f-number as bright as the wide one, for which light was metered."""

from typing import NamedTuple

from blendkit.optics import exact_f_number, exact_shutter_s, steps_between
from blendkit.plan.scene import Scene

SAME_LIGHT_STEPS = 0.05
"""Fewer steps than a text with one decimal shows are none."""


class Light(NamedTuple):
    """Steps (EV) of light lost against the wide frame, and what makes up for them.

    Either `factor` times the shutter time, which is exposure_time_s in exact s, or `factor` times
    the ISO, which is iso; None where nothing was metered.
    """

    steps: float
    factor: float
    exposure_time_s: float | None
    iso: float | None

    @property
    def same(self) -> bool:
        """Whether the frame may keep the wide frame's shutter time and ISO."""
        return abs(self.steps) < SAME_LIGHT_STEPS


def light_at(scene: Scene, f_number: float) -> Light:
    """Return what a frame at an engraved f-number needs to be as bright as the wide one.

    >>> scene = Scene(focal_length_mm=85, wide_f_number=2, subject_at_m=4, exposure_time_s=1 / 500)
    >>> light_at(scene, 11)
    Light(steps=5.0, factor=32.0, exposure_time_s=0.0625, iso=None)
    """
    wide, here = exact_f_number(scene.wide_f_number), exact_f_number(f_number)
    steps = round(float(steps_between(wide, here)), 12)  # whole steps come out of logarithms
    factor = 2.0**steps
    time_s = scene.exposure_time_s
    return Light(
        steps,
        factor,
        None if time_s is None else exact_shutter_s(time_s) * factor,
        None if scene.iso is None else scene.iso * factor,
    )
