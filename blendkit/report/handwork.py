"""What a person did to a pair, as a digest: whether a result was made with what is painted now."""

import hashlib
import json
from collections.abc import Mapping, Sequence
from dataclasses import asdict
from typing import Any

from blendkit.masks.strokes import Stroke
from blendkit.settings import MergeSettings
from blendkit.sidecar import Tie

Work = tuple[tuple[Stroke, ...], tuple[Tie, ...], MergeSettings]
"""Strokes, ties and settings."""
_DIGITS = 9
"""As in a report, whose settings are read again."""


def handwork(
    strokes: Sequence[Stroke],
    ties: Sequence[Tie],
    settings: MergeSettings,
    repairs: Sequence[str] = (),
) -> str:
    """Return a digest of strokes, ties, settings and modes of repair; 40 px and 40.0 px are one.

    >>> handwork((), (), MergeSettings()) == handwork([], [], MergeSettings())
    True
    """
    basis = [asdict(stroke) for stroke in strokes], ties, asdict(settings), sorted(repairs)
    return hashlib.sha256(json.dumps(_even(basis), sort_keys=True).encode()).hexdigest()[:16]


def _even(value: Any) -> Any:
    """Return a value whose numbers are written one way."""
    if isinstance(value, Mapping):
        return {str(key): _even(item) for key, item in value.items()}
    if isinstance(value, (list, tuple)):
        return [_even(item) for item in value]
    if isinstance(value, (int, float)) and not isinstance(value, bool):
        return f"{float(value):.{_DIGITS}g}"
    return value
