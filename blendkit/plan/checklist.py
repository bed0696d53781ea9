"""The captures of a plan in order, and the cautions that go with working on location."""

from typing import NamedTuple

from blendkit.plan import wording
from blendkit.plan.advice_pair import series, setting
from blendkit.plan.advice_roles import holds_subject
from blendkit.plan.light import ends_of, exposed_as, light_at
from blendkit.plan.records import Bridge, Exposure, FramePlan, Plan

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
        (only,) = plan.advised
        return (Capture(2, "the frame", f"{setting(only)}, {_alone(plan, only)}"),)
    background, foreground = plan.advised
    first = Capture(1, "background frame", f"{setting(background)}, {_metered(plan)}")
    light = _stopped(plan, foreground.exposure)
    second = Capture(2, "foreground frame", f"{setting(foreground)}, {light}")
    bridges = tuple(_bridging(plan, bridge) for bridge in plan.bridges)
    return (first, second, *bridges, *_clear(plan))


def _bridging(plan: Plan, bridge: Bridge) -> Capture:
    """Return the line of a bridge; who works through it needs every distance."""
    use = "for the subject" if holds_subject(plan, bridge) else "if the mid-ground matters"
    name = "bridge frame" if len(bridge.frames) == 1 else "bridge frames"
    how = f"{series(bridge.frames, shown=len(bridge.frames))}, {_bridge_exposure(plan, bridge)}"
    return Capture(1, f"{name}, {use}", how)


def _bridge_exposure(plan: Plan, bridge: Bridge) -> str:
    """Return the exposure of a bridge; from its nearest to its farthest frame where they differ."""
    like = exposed_as(plan.scene, bridge, plan.advised)
    if like is not None:
        return f"exposed as the {like.role} frame"
    same = "shutter and ISO of the background frame"
    told = [_stopped(plan, frame, same=same) for frame in ends_of(plan.scene, bridge)]
    if len(told) == 1:
        return told[0]
    return f"the nearest with {told[0]}, the farthest with {told[1]}, the others in between"


def _clear(plan: Plan) -> tuple[Capture, ...]:
    if plan.scene.foreground_at_m is None:
        return ()
    how = "as the background frame, with the bough held or moved aside"
    return (Capture(1, "clear frame", how),)


def _metered(plan: Plan) -> str:
    time_s, speed = plan.scene.exposure_time_s, plan.scene.iso
    if time_s is None and speed is None:
        return "shutter and ISO as metered"
    shutter = "shutter as metered" if time_s is None else wording.given_shutter(time_s)
    return f"{shutter}, {'ISO as metered' if speed is None else wording.given_iso(speed)}"


def _alone(plan: Plan, frame: FramePlan) -> str:
    """Return the exposure of a single frame; at another f-number than metered it is another."""
    scene, light = plan.scene, light_at(plan.scene, frame.exposure)
    if light.same:
        return _metered(plan)
    more = f"x {wording.times(light.factor)}"
    meters = f"of what {wording.aperture(scene.wide_f_number)} meters"
    if scene.exposure_time_s is None or light.exposure_time_s is None:
        if scene.iso is None or light.iso is None:
            return f"shutter time or ISO {more} {meters}"
        base, raised = wording.given_iso(scene.iso), wording.iso(light.iso)
        return f"shutter time {more} {meters} at {base}, or as metered at {raised}"
    longer = wording.shutter(light.exposure_time_s)
    same = wording.given_shutter(scene.exposure_time_s)
    if scene.iso is None or light.iso is None:
        return f"{longer} at the ISO as metered, or {same} at ISO {more}"
    return f"{longer} at {wording.given_iso(scene.iso)}, or {same} at {wording.iso(light.iso)}"


def _stopped(plan: Plan, frame: Exposure, *, same: str = "shutter and ISO as before") -> str:
    light = light_at(plan.scene, frame)
    if light.same:
        return same
    if light.exposure_time_s is None:
        return f"shutter time or ISO x {wording.times(light.factor)}"
    longer = wording.shutter(light.exposure_time_s)
    return f"{longer} at the same ISO, or the same shutter at ISO x {wording.times(light.factor)}"
