"""What keeps a frame as bright as the wide one, for which light was metered.

A frame loses light by its f-number, and by the extension that focuses it closer: the lens stands
farther from the sensor, which is the bellows factor.
"""

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np

from blendkit.optics import (
    bellows_factor,
    exact_f_number,
    exact_shutter_s,
    magnification,
    steps_between,
)
from blendkit.plan.records import Bridge, Exposure, FramePlan
from blendkit.plan.scene import Scene

SAME_LIGHT_STEPS = 0.05
"""Fewer steps than a text with one decimal shows are none."""

AGREEING_STEPS = 1 / 6
"""Half a third of a step, in which cameras are set: closer settings take in the same light."""


class Light(NamedTuple):
    """Steps (EV) of light lost against the wide frame, and what makes up for them.

    focus_steps is the part of the steps that the focus distance costs.  Either `factor` times the
    shutter time, which is exposure_time_s in exact s, or `factor` times the ISO, which is iso;
    None where nothing was metered.
    """

    steps: float
    focus_steps: float
    factor: float
    exposure_time_s: float | None
    iso: float | None

    @property
    def same(self) -> bool:
        """Whether the frame may keep the wide frame's shutter time and ISO."""
        return abs(self.steps) < AGREEING_STEPS

    @property
    def refocused(self) -> bool:
        """Whether the focus distance costs or gains light that a text shows."""
        return abs(self.focus_steps) >= SAME_LIGHT_STEPS


def light_at(scene: Scene, exposure: Exposure) -> Light:
    """Return what a frame, its f-number as engraved, needs to be as bright as the wide one.

    >>> scene = Scene(focal_length_mm=85, wide_f_number=2, subject_at_m=4, exposure_time_s=1 / 500)
    >>> light_at(scene, Exposure(11, 4))
    Light(steps=5.0, focus_steps=0.0, factor=32.0, exposure_time_s=0.0625, iso=None)
    """
    wide, here = exact_f_number(scene.wide_f_number), exact_f_number(exposure.f_number)
    scales = magnification(
        [scene.wide_focus_m, exposure.focus_distance_m], focal_length_mm=scene.focal_length_mm
    )
    metered, extended = bellows_factor(scales, pupil=scene.pupil)
    focus_steps = float(np.log2(extended / metered))
    # whole steps come out of logarithms
    steps = round(float(steps_between(wide, here)) + focus_steps, 12)
    factor = 2.0**steps
    time_s = scene.exposure_time_s
    return Light(
        steps,
        focus_steps,
        factor,
        None if time_s is None else exact_shutter_s(time_s) * factor,
        None if scene.iso is None else scene.iso * factor,
    )


def exposed_as(scene: Scene, bridge: Bridge, frames: Sequence[FramePlan]) -> FramePlan | None:
    """Return the frame of the same f-number that all of a bridge may be exposed like."""
    for frame in frames:
        steps = light_at(scene, frame.exposure).steps
        off = max(abs(light_at(scene, one).steps - steps) for one in bridge.frames)
        if off < AGREEING_STEPS and bridge.frames[0].f_number == frame.f_number:
            return frame
    return None


def ends_of(scene: Scene, bridge: Bridge) -> tuple[Exposure, ...]:
    """Return the frames of a bridge whose exposure is told.

    Its middle one where that does for all; else its nearest and its farthest, which needs least.
    """
    first, last = bridge.frames[0], bridge.frames[-1]
    if light_at(scene, first).steps - light_at(scene, last).steps < 2 * AGREEING_STEPS:
        return (bridge.frames[len(bridge.frames) // 2],)
    return first, last
