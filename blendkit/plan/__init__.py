"""Which frames to take, before the shoot: limits, blur, framing and advice from the optics.

`make_plan` turns a `Scene` into a frozen `Plan`; the other functions write a plan down: as JSON,
as text, as a table, as a diagram, as a card for the bag.
"""

from blendkit.plan.as_json import plan_document
from blendkit.plan.as_text import plan_text
from blendkit.plan.build import make_plan
from blendkit.plan.card import card_html
from blendkit.plan.diagram import diagram_svg
from blendkit.plan.records import (
    Bridge,
    Discs,
    Exposure,
    FramePlan,
    Framing,
    Interval,
    Limits,
    OneFrame,
    Plan,
    Sway,
)
from blendkit.plan.scene import Scene
from blendkit.plan.table import table_rows, table_text

__all__ = [
    "Bridge",
    "Discs",
    "Exposure",
    "FramePlan",
    "Framing",
    "Interval",
    "Limits",
    "OneFrame",
    "Plan",
    "Scene",
    "Sway",
    "card_html",
    "diagram_svg",
    "make_plan",
    "plan_document",
    "plan_text",
    "table_rows",
    "table_text",
]
