"""The captures of a plan in order, and the cautions that go with working on location."""

from typing import NamedTuple

from blendkit.plan import wording
from blendkit.plan.advice_pair import series, setting
from blendkit.plan.advice_taking import stopped_shutter_s
from blendkit.plan.records import Plan

CAUTIONS = (
    "Never look at or near the sun through a long lens, nor point one at it: it blinds and burns.",
    "Eye at the viewfinder: keep off roads, railway tracks and water edges; have somebody watch.",
    "Weigh down stands in wind, and take them down when it gusts.",
    "Permits, local codes and licensed practice come first.",
)

RULES = (
    "Do not move the tripod, the zoom or the height between frames.",
    "Focus by hand and do not touch it within a frame's repeats; release by cable or timer.",
    "Same white balance in every frame; no automatic ISO.",
    "Flash in all frames or in none.",
)


class Capture(NamedTuple):
    """One line of the checklist: how often, what for, how."""

    times: int
    name: str
    how: str


def captures(plan: Plan) -> tuple[Capture, ...]:
    """Return the frames to take, in order.

    The stopped frame is taken twice, because it is the one that shakes; the clear frame shows what
    the foreground hides.
    """
    if len(plan.advised) == 1:
        how = f"{setting(plan.advised[0])}, {_metered(plan)}"
        return (Capture(2, "the frame", how),)
    background, foreground = plan.advised
    first = Capture(1, "background frame", f"{setting(background)}, {_metered(plan)}")
    second = Capture(2, "foreground frame", f"{setting(foreground)}, {_stopped(plan)}")
    bridges = tuple(
        Capture(1, "bridge frames, if the mid-ground matters", series(bridge.frames))
        for bridge in plan.bridges
    )
    return (first, second, *bridges, *_clear(plan))


def _clear(plan: Plan) -> tuple[Capture, ...]:
    if plan.scene.foreground_at_m is None:
        return ()
    how = "as the background frame, with the bough held or moved aside"
    return (Capture(1, "clear frame", how),)


def _metered(plan: Plan) -> str:
    if plan.scene.exposure_time_s is None:
        return "shutter and ISO as metered"
    speed = "ISO as metered" if plan.scene.iso is None else wording.iso(plan.scene.iso)
    return f"{wording.shutter(plan.scene.exposure_time_s)}, {speed}"


def _stopped(plan: Plan) -> str:
    factor = 2.0**plan.exposure_steps
    if plan.exposure_steps == 0:
        return "shutter and ISO as before"
    if plan.scene.exposure_time_s is None:
        return f"shutter time or ISO x {factor:.3g}"
    longer = wording.shutter(stopped_shutter_s(plan))
    return f"{longer} at the same ISO, or the same shutter at ISO x {factor:.3g}"
