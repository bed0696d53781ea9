"""Repairs of flags, offered where the package has them."""

from collections.abc import Mapping
from typing import Any

from blendkit.errors import InputError
from blendkit.frame import Label
from blendkit.review.preview import Previewer
from blendkit.review.state import PairState


def offers_for(state: PairState, flag: Mapping[str, Any]) -> list[dict[str, str]]:
    """Return the repairs on offer for a flag, each with mode, label and help."""
    return []


def repair(state: PairState, flag: int, mode: str, previewer: Previewer, *, apply: bool) -> Label:
    """Try a repair at screen size, or apply it in full; return the picture."""
    raise InputError(f"{mode}: no such repair for this finding")
