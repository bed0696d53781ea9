"""The advice of a plan, in sentences with numbers, in the order in which one decides."""

from collections.abc import Iterator

from blendkit.plan.advice_look import crop_or_walk, how_big, how_soft, veil
from blendkit.plan.advice_pair import bracket, gaps, one_frame, pair, refocus
from blendkit.plan.advice_roles import exchanged, soft_sitter
from blendkit.plan.advice_taking import diffraction, exposure, parallax, sway
from blendkit.plan.records import Plan

TOPICS = (
    *(one_frame, pair, exchanged, soft_sitter, refocus, gaps, bracket),
    *(veil, how_soft, how_big, crop_or_walk),
    *(diffraction, exposure, parallax, sway),
)


def advise(plan: Plan) -> Iterator[str]:
    """Yield the sentences that apply to a plan whose numbers are complete."""
    for topic in TOPICS:
        yield from topic(plan)
