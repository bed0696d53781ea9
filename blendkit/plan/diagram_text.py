"""The diagram on a terminal: distance on a reciprocal scale, sharp intervals, gaps."""

from collections.abc import Sequence

from blendkit.plan import wording
from blendkit.plan.axis import Axis, axis_for, clipped, places
from blendkit.plan.records import FramePlan, Interval, Plan

COLUMNS = 60
SHARP, GAP, SOFT, PLACE = "#", "~", ".", "|"


def diagram_text(plan: Plan) -> str:
    """Return one line for each frame and for the gaps, over a scale of distances."""
    axis = axis_for(plan)
    marks = [_column(axis, distance) for _, distance in places(plan)]
    rows = [(_name(frame), _bar(axis, [frame.sharp], SHARP, marks)) for frame in plan.advised]
    if plan.advised_gaps:
        rows.append(("in no frame", _bar(axis, plan.advised_gaps, GAP, marks)))
    indent = max(len(name) for name, _ in rows) + 2
    lines = [" " * indent + line for line in _place_lines(plan, axis)]
    lines += [name.ljust(indent) + bar for name, bar in rows]
    key = f"{SHARP} sharp  {SOFT} soft  {PLACE} the distances named above"
    if plan.advised_gaps:
        key += f"  {GAP} the mid-ground gap"
    return "\n".join([*lines, "", f"{'':{indent}}{key}"])


def _name(frame: FramePlan) -> str:
    return f"{wording.aperture(frame.f_number)} at {wording.distance(frame.focus_distance_m)}"


def _column(axis: Axis, distance_m: float) -> int:
    return round(axis.position(distance_m) * (COLUMNS - 1))


def _bar(axis: Axis, intervals: Sequence[Interval], sign: str, marks: Sequence[int]) -> str:
    cells = [PLACE if column in marks else SOFT for column in range(COLUMNS)]
    for interval in intervals:
        first, last = (round(end * (COLUMNS - 1)) for end in clipped(axis, interval))
        cells[first : last + 1] = sign * (last + 1 - first)
    return "".join(cells)


def _place_lines(plan: Plan, axis: Axis) -> list[str]:
    """Write the named distances above their columns, on as many lines as they need."""
    lines: list[str] = []
    for name, distance_m in places(plan):
        label = f"{name} {wording.distance(distance_m)}" if distance_m < 1e9 else name
        label = f"{label} (infinity)" if distance_m >= 1e9 else label
        start = max(0, min(_column(axis, distance_m) - len(label) // 2, COLUMNS - len(label)))
        fits = (index for index, line in enumerate(lines) if len(line) + 2 <= start)
        index = next(fits, len(lines))
        lines[index : index + 1] = [
            (lines[index] if index < len(lines) else "").ljust(start) + label
        ]
    return lines
