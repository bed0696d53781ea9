"""Plan a shoot: a cellist behind bare apple boughs, poplars beyond.

Run it with a folder to get the diagram and the card there:

    python examples/03_plan_a_shoot.py OUT
"""

import sys
from pathlib import Path

from blendkit.plan import Scene, card_html, diagram_svg, make_plan

scene = Scene(
    focal_length_mm=135,
    wide_f_number=2,
    stopped_f_number=16,
    foreground_at_m=2.2,
    subject_at_m=4.0,
    background_at_m=14.0,
)
plan = make_plan(scene)

print(f"One frame: {plan.one_frame.verdict}")
for frame in plan.advised:
    near, far = frame.sharp
    print(
        f"{frame.role} frame: f/{frame.f_number:g} focused at {frame.focus_distance_m:g} m,"
        f" sharp from {near:.2f} to {far:.2f} m"
    )
for sentence in plan.advice:
    print("-", sentence)

if __name__ == "__main__" and len(sys.argv) > 1:
    folder = Path(sys.argv[1])
    folder.mkdir(parents=True, exist_ok=True)
    (folder / "blur_by_distance.svg").write_text(diagram_svg(plan), encoding="utf-8")
    (folder / "card.html").write_text(card_html(plan), encoding="utf-8")
