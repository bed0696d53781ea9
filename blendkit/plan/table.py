"""The same focus at every full stop from f/2 to f/22: limits, depth, blur."""

from blendkit.plan import wording
from blendkit.plan.frames import plan_frame
from blendkit.plan.records import FramePlan, Plan
from blendkit.plan.scene import Scene

FULL_STOPS = (2.0, 2.8, 4.0, 5.6, 8.0, 11.0, 16.0, 22.0)


def table_rows(scene: Scene) -> tuple[FramePlan, ...]:
    """Return a frame for each full stop and for the scene's own two, focused as the wide one."""
    stops = sorted({*FULL_STOPS, float(scene.wide_f_number), float(scene.stopped_f_number)})
    return tuple(
        plan_frame(scene, "single", f_number=stop, focus_distance_m=scene.wide_focus_m)
        for stop in stops
    )


def table_text(plan: Plan) -> str:
    """Return the table as text; blur discs in mm and as a share of the frame height."""
    scene = plan.scene
    rows = [_cells(frame) for frame in table_rows(scene)]
    head = ["", "near", "far", "depth", "foreground", "subject", "background", "of height"]
    grid = [head, *rows]
    if scene.foreground_at_m is None:
        grid = [line[:4] + line[5:] for line in grid]
    widths = [max(len(line[column]) for line in grid) for column in range(len(grid[0]))]
    lines = [
        "  ".join(cell.rjust(width) for cell, width in zip(line, widths, strict=True)).rstrip()
        for line in grid
    ]
    title = (
        f"Focused at {wording.distance(scene.wide_focus_m)}: limits of sharpness, and blur discs"
    )
    return "\n".join([title, *lines])


def _cells(frame: FramePlan) -> list[str]:
    near, far = frame.sharp
    near_text, far_text = wording.distances(frame.sharp)
    discs = frame.blur_disc_mm
    return [
        wording.aperture(frame.f_number),
        near_text,
        far_text,
        wording.length(far - near),
        "" if discs.foreground is None else wording.disc(discs.foreground),
        wording.disc(discs.subject),
        wording.disc(discs.background),
        wording.percent(frame.blur_disc_height.background),
    ]
