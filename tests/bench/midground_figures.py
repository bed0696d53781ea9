"""Figures of the mid-ground: flags, blur and repairs against truth on 45 scenes.

    python tests/bench/midground_figures.py --cache FOLDER  # flags and blur
    python tests/bench/midground_figures.py --cache FOLDER --repairs    # the four repairs too
    python tests/bench/midground_figures.py --cache FOLDER --which odd  # those kept for judging

"between": what is soft in both frames between the focus distances (discs above 3 px at 1200 px
width), or, where near ground was pasted from the stopped frame, what is soft behind it.
"""

from pathlib import Path

import click
import cv2
import numpy as np
from midground_cases import SIZE, SOFT_PX_AT_1200, Case, kept_case

from blendkit.frame import Bool
from blendkit.hints import Hints
from blendkit.merge import Merged, merge_pair
from blendkit.repair import Mode, repair_result
from blendkit.simulate.metrics import psnr


def wanted_region(case: Case) -> Bool:
    """Return where soft mid-ground should be flagged."""
    if case.kind == "gap":
        return case.soft_in_both
    least = SOFT_PX_AT_1200 * max(case.matte.shape) / 1200
    soft = (case.matte <= 0.5) & (case.disc_b > least)
    return soft if case.kind == "pasted" else np.zeros_like(soft)


def blur_errors(case: Case, merged: Merged) -> tuple[float, float]:
    """Return the median error of the result's disc on textured px: px at 1200 px, and share."""
    blur = merged.result_blur
    assert blur is not None
    size = (blur.disc_px.shape[1], blur.disc_px.shape[0])
    discs = (1 - case.matte) * np.abs(case.disc_b) + case.matte * np.abs(case.disc_f)
    truth = cv2.resize(discs, size, interpolation=cv2.INTER_AREA)
    known = blur.confidence > 0.25
    error = np.abs(blur.disc_px - truth)[known]
    if not error.size:
        return float("nan"), float("nan")
    unit = max(case.matte.shape) / 1200
    return float(np.median(error)) / unit, float(np.median(error / np.maximum(truth[known], 1e-3)))


def judge(case: Case) -> tuple[dict[str, object], Merged]:
    """Merge one case with its matte and return its figures."""
    hints = Hints(matte=case.matte, aligned=True)
    merged = merge_pair(case.background, case.foreground, hints=hints)
    wanted, got = wanted_region(case), np.zeros(case.matte.shape, np.bool_)
    for flag in merged.flags:
        if flag.kind == "soft-midground":
            got |= flag.region
    error_px, error_share = blur_errors(case, merged)
    both = float((wanted & got).sum())
    return {
        "recall": both / max(wanted.sum(), 1) if wanted.any() else None,
        "precision": both / max(got.sum(), 1) if got.any() else None,
        "error_px": error_px,
        "error_share": error_share,
        "loud": [f"{f.kind}:{f.severity}" for f in merged.flags if f.severity != "note"],
    }, merged


def repairs(case: Case, merged: Merged) -> str:
    """Return what each mode did, in one line."""
    parts = []
    zone = wanted_region(case)
    modes: tuple[Mode, ...] = ("extend", "bridge", "taper", "sharpen")
    for mode in modes:
        done = repair_result(
            merged, case.background, case.foreground, mode=mode, bridges=(case.bridge,)
        )
        applied = [a for a in done.attempts if a.applied]
        left = applied[0].after if applied else "-"
        against = case.sharp if mode == "sharpen" else case.truth
        before, after = (psnr(m.pixels, against, region=zone) for m in (merged, done.merged))
        parts.append(
            f"{mode}: {before:.1f}->{after:.1f} dB, {'flag ' + str(left) if applied else 'no'}"
        )
    return " | ".join(parts)


@click.command()
@click.option("--cache", type=click.Path(path_type=Path), required=True)
@click.option("--which", type=click.Choice(["all", "even", "odd"]), default="all")
@click.option("--width", default=SIZE[0], help="of the pictures, px")
@click.option("--numbers", default="", help="cases by comma, instead of all 45")
@click.option("--repairs", "with_repairs", is_flag=True)
def main(cache: Path, which: str, width: int, numbers: str, *, with_repairs: bool) -> None:
    """Print one line a case, then the figures."""
    chosen = [int(n) for n in numbers.split(",") if n] or range(45)
    rows = []
    for number in chosen:
        if which != "all" and number % 2 != (which == "odd"):
            continue
        case = kept_case(number, cache, (width, width * 2 // 3))
        figures, merged = judge(case)
        rows.append((case, figures))
        print(number, case.kind, figures, flush=True)
        if with_repairs and case.wrong:
            print("   ", repairs(case, merged), flush=True)
    _totals(rows)


def _totals(rows: list[tuple[Case, dict[str, object]]]) -> None:
    for name in ("recall", "precision", "error_px", "error_share"):
        values = [
            float(f[name]) for c, f in rows if f[name] is not None and (c.wrong or "error" in name)
        ]  # type: ignore[arg-type]
        if values:
            print(f"{name}: median {np.nanmedian(values):.2f}, least {np.nanmin(values):.2f}")
    fine = [f for c, f in rows if not c.wrong]
    print(f"nothing wrong: {sum(bool(f['loud']) for f in fine)} of {len(fine)} with warn or fail")


if __name__ == "__main__":
    main()
