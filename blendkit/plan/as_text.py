"""A plan as text for the terminal: the answer first, then the numbers, then the diagram."""

import math
from collections.abc import Sequence
from dataclasses import replace

from blendkit.plan import wording
from blendkit.plan.diagram_text import diagram_text
from blendkit.plan.records import FramePlan, Plan
from blendkit.plan.scene import Scene
from blendkit.settings import ViewingSettings

WIDTH = 88
LABEL = 17

CROPPED = 0.99
"""A picture that takes more than this share of both sides has the sensor's shape, but for a rim."""


def plan_text(plan: Plan) -> str:
    """Return advice, the numbers of each frame, framing and diagram, in lines of up to 88."""
    advice = [wording.wrapped(line, WIDTH) for line in plan.advice]
    parts = ["\n".join(advice), numbers_text(plan), framing_text(plan), diagram_text(plan)]
    return "\n\n".join(parts)


def numbers_text(plan: Plan) -> str:
    """Return a column of numbers for each frame as asked, and for a frame advised instead.

    Where the latter does not fit beside the others it stands below them.
    """
    asked = list(plan.frames)
    instead = [f for f in plan.advised if f.exposure not in [g.exposure for g in asked]]
    lines = _table([*asked, *instead])
    if max(len(line) for line in lines) > WIDTH:
        lines = [*_table(asked), "", *_table(instead)]
    return "\n".join(lines)


def _table(frames: Sequence[FramePlan]) -> list[str]:
    table = [_column(frame) for frame in frames]
    names = [name for name, _ in table[0]]
    widths = [max(len(value) for _, value in column) for column in table]
    lines = []
    for row, name in enumerate(names):
        cells = [column[row][1].rjust(width) for column, width in zip(table, widths, strict=True)]
        lines.append(f"{name:<{LABEL}}" + "  ".join(cells))
    return lines


def _column(frame: FramePlan) -> list[tuple[str, str]]:
    near, far = wording.distances(frame.sharp)
    rows = [
        ("frame", wording.aperture(frame.f_number)),
        ("focused at", wording.distance(frame.focus_distance_m)),
        ("sharp from", near),
        ("to", far),
        ("depth", wording.length(frame.sharp.far_m - frame.sharp.near_m)),
        ("hyperfocal", wording.distance(frame.hyperfocal_m)),
    ]
    every = zip(
        frame.blur_disc_mm._asdict().items(),
        frame.blur_disc_px,
        frame.blur_disc_height,
        strict=True,
    )
    for (name, disc_mm), disc_px, share in every:
        if disc_mm is not None and disc_px is not None and share is not None:
            value = f"{wording.disc(disc_mm)}, {wording.pixels(disc_px)}, {wording.percent(share)}"
            rows.append((f"blur, {name}", value))
    return [*rows, ("Airy disc", wording.disc(frame.airy_disc_mm))]


def framing_text(plan: Plan) -> str:
    """Return the standard of sharpness, angles of view and what is covered."""
    width, height, diagonal = plan.framing.field_of_view_deg
    across, down = (wording.length(side) for side in plan.framing.subject_m)
    pitch = f"pixels of {1000 * plan.scene.pixel_pitch_mm:.2f} um"
    lines = (
        f"Blur discs are diameters in mm, px and % of the frame height; {_standard(plan.scene)}.",
        f"{_sensor(plan.scene)}, {pitch}; f-numbers mean the exact series.",
        f"Field of view {width:.1f} x {height:.1f} degrees, diagonal {diagonal:.1f}.",
        f"Covered at the subject {across} x {down}{_background(plan)}.",
    )
    return "\n".join(wording.wrapped(line, WIDTH, bullet="") for line in lines)


def _standard(scene: Scene) -> str:
    """Return up to which disc a plan calls things sharp, and where a merge is stricter."""
    coc_mm, usual = scene.circle_of_confusion_mm, ViewingSettings()
    text = f"sharp is up to {wording.disc(coc_mm)}"
    print_cm = usual.print_width_cm, usual.print_height_cm
    judged_mm = replace(scene, coc_mm=None, print_cm=print_cm).circle_of_confusion_mm
    if scene.print_cm is not None or judged_mm >= coc_mm:
        return text
    across, down = print_cm
    return (
        f"{text}. A merge is stricter: it judges a print of {across:g} x {down:g} cm seen from"
        f" {usual.viewing_cm:g} cm, {wording.disc(judged_mm)}; --print {across:g}x{down:g} plans"
        " for that"
    )


def _sensor(scene: Scene) -> str:
    """Return the sensor's size, and what of it the picture takes where it has another shape."""
    sensor, held = scene.turned_sensor_mm, scene.held_mm
    text = f"Sensor {sensor[0]:g} x {sensor[1]:g} mm"
    if all(part > CROPPED * side for part, side in zip(held, sensor, strict=True)):
        return text
    return f"{text}, {held[0]:.3g} x {held[1]:.3g} mm of it in the picture"


def _background(plan: Plan) -> str:
    if math.isinf(plan.scene.background_m):
        return ""
    wide, high = (wording.length(side) for side in plan.framing.background_m)
    return f", at the background {wide} x {high}"
