"""The study's table, and the figures that alignment promises."""

import json
import sys
from pathlib import Path
from typing import Any

import numpy as np

Rows = list[dict[str, Any]]

_AT_RANDOM = (
    "everything at once",
    "hardly blurred, moved",
    "nobody",
    "nobody, refocused",
    "unrelated",
)
"""Groups whose pairs have no one value that is varied."""


def print_table(rows: Rows) -> None:
    """Print one line a group, one a value where one thing was varied, then the promises."""
    print(
        f"{'varied':22}{'value':>8}{'pairs':>6}{'median':>9}{'95 %':>8}{'worst':>9}{'refused':>8}"
    )
    for group in dict.fromkeys(row["group"] for row in rows):
        part = [row for row in rows if row["group"] == group]
        if group in _AT_RANDOM:
            _line(group, "", part)
            continue
        for value in sorted({row["value"] for row in part}):
            _line(group, f"{value:g}", [row for row in part if row["value"] == value])
    _promises(rows)


def _line(group: str, value: str, rows: Rows) -> None:
    errors = np.array([r["error_px"] for r in rows if r["error_px"] is not None] or [np.nan])
    refused = sum(row["confidence"] < 0.5 for row in rows)
    print(
        f"{group:22}{value:>8}{len(rows):6}{np.median(errors):9.3f}"
        f"{np.percentile(errors, 95):8.3f}{errors.max():9.3f}{refused:8}"
    )


def _promises(rows: Rows) -> None:
    own = [r for r in rows if r["group"] != "unrelated" and r["error_px"] is not None]
    wrong = [r for r in rows if r["confidence"] > 0.5 and _is_wrong(r)]
    print(f"error over 3 px at confidence over 0.5: {len(wrong)} of {len(rows)}")
    error = np.array([r["error_px"] for r in own])
    stated = np.array([r["uncertainty_px"] for r in own])
    sure = np.array([r["confidence"] for r in own])
    solvable = np.array([r["solvable"] for r in own])
    print(f"refused, of {solvable.sum()} solvable: {(sure[solvable] < 0.5).sum()}")
    high = sure > 0.9
    print(f"error under 1 px, of {high.sum()} above 0.9: {100 * (error[high] < 1).mean():.1f} %")
    kept = solvable & (sure >= 0.5)
    print(f"uncertainty covers the error: {100 * (error[kept] <= stated[kept]).mean():.1f} %")
    share = np.median(stated[kept]) / np.median(error[kept])
    print(f"median uncertainty {np.median(stated[kept]):.3f} px = {share:.2f} x the median error")
    for name in ("phase correlation", "ECC"):
        other = [r["rivals"][name] for r in own if r.get("rivals")]
        if other:
            print(f"{name}: median {np.median(other):.2f} px, 95 % {np.percentile(other, 95):.1f}")


def _is_wrong(row: dict[str, Any]) -> bool:
    return row["group"] == "unrelated" or (row["error_px"] or 0) > 3


if __name__ == "__main__":
    print_table([json.loads(line) for line in Path(sys.argv[1]).read_text().splitlines()])
