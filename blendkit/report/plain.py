"""Values as JSON can hold them."""

import math
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import numpy as np

Document = dict[str, Any]
"""A report: only what JSON can hold."""

_DIGITS = 9
"""Significant digits kept: a matrix entry of 1 to 1e-9 moves no pixel of a 100 000 px picture."""


def plain(value: Any) -> Any:
    """Return a value as dicts, lists, strings, numbers and None.

    Arrays and tuples become lists, paths strings, NaN and infinity None.

    Examples
    --------
    >>> plain({"gain_ev": (0.1, float("nan")), "share": np.float32(0.5)})
    {'gain_ev': [0.1, None], 'share': 0.5}
    """
    if isinstance(value, Mapping):
        return {str(key): plain(item) for key, item in value.items()}
    if isinstance(value, np.ndarray):
        return plain(value.tolist())
    if isinstance(value, (list, tuple)):
        return [plain(item) for item in value]
    if isinstance(value, np.generic):
        return plain(value.item())
    if isinstance(value, float):
        return float(f"{value:.{_DIGITS}g}") if math.isfinite(value) else None
    return str(value) if isinstance(value, Path) else value


def as_document(values: Mapping[str, Any]) -> Document:
    """Return a mapping with all its values made plain."""
    return {key: plain(value) for key, value in values.items()}
