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
from blendkit.midground.loudness import just_visible_px
from blendkit.repair import Mode, repair_result
from blendkit.settings import ViewingSettings
from blendkit.simulate.metrics import psnr

_SEEN = ViewingSettings()
_LEAST_SHARE = 0.003


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


def taper_fall(case: Case, merged: Merged, done: Merged) -> float:
    """Return by which ratio true blur still falls on the way from a sharp part; 1 = nowhere.

    True blur after is what was there plus what the repair says it added; of the two ways (from the
    near frame's focus on, from the far frame's) the one that falls less counts.  Discs below the
    just visible one count as that.
    """
    assert merged.result_blur is not None
    assert done.result_blur is not None
    added = np.square(done.result_blur.disc_px) - np.square(merged.result_blur.disc_px)
    added = cv2.resize(np.maximum(added, 0), case.matte.shape[::-1])
    was = np.where(case.matte > 0.5, np.abs(case.disc_f), np.abs(case.disc_b))
    after = np.maximum(
        np.sqrt(np.square(was) + added), just_visible_px(case.background.size, _SEEN)
    )
    x, front = case.disc_b, case.matte > 0.5
    ground = x > float(x.min()) + 0.01
    in_focus = front & (np.abs(case.disc_f) <= np.quantile(np.abs(case.disc_f[front]), 0.05))
    levels = np.linspace(float(x[ground].min()), float(x.max()), 41)
    place = np.where(ground, np.digitize(x, levels) - 1, -1)
    usual = {k: float(np.median(after[place == k])) for k in range(40) if (place == k).any()}
    start = float(np.median(x[in_focus]))
    nearwards = np.array([usual[k] for k in sorted(usual) if levels[k] >= 0])
    farwards = np.array([usual[k] for k in sorted(usual, reverse=True) if levels[k] <= start])
    falls = [float((np.maximum.accumulate(way) / way).max()) for way in (nearwards, farwards)]
    return min(falls)


def bridge_suffices(case: Case) -> bool:
    """Tell whether the f/16 bridge frame in truth brings the zone below what counts as soft."""
    stop = case.background.capture.f_number
    assert stop is not None
    gap = float(np.median(case.disc_b - case.disc_f)) if case.kind == "gap" else 0.0
    bridge = stop / 16 * np.abs(case.disc_b - gap / 2)
    was = np.where(case.matte > 0.5, np.abs(case.disc_f), np.abs(case.disc_b))
    left = np.minimum(was, bridge) > SOFT_PX_AT_1200 * max(case.matte.shape) / 1200
    return float((left & wanted_region(case)).mean()) < _LEAST_SHARE


def repairs(case: Case, merged: Merged) -> dict[str, object]:
    """Return what each mode did: dB in the zone before and after, the flag left, why."""
    done: dict[str, object] = {"bridge_suffices": bridge_suffices(case)}
    zone = wanted_region(case)
    modes: tuple[Mode, ...] = ("extend", "bridge", "taper", "sharpen")
    for mode in modes:
        after = repair_result(
            merged, case.background, case.foreground, mode=mode, bridges=(case.bridge,)
        )
        applied = [a for a in after.attempts if a.applied]
        against = case.sharp if mode == "sharpen" else case.truth
        before_db, after_db = (
            round(psnr(m.pixels, against, region=zone), 1) for m in (merged, after.merged)
        )
        left = str(applied[0].after) if applied else "refused"
        done[mode] = (left, before_db, after_db, [a.why for a in after.attempts])
        if mode == "taper" and applied:
            done["taper_fall"] = round(taper_fall(case, merged, after.merged), 2)
    return done


@click.command()
@click.option("--cache", type=click.Path(path_type=Path), required=True)
@click.option("--which", type=click.Choice(["all", "even", "odd"]), default="all")
@click.option("--width", default=SIZE[0], help="of the pictures, px")
@click.option("--seed", default=0, help="of the scenes; on seeds above 0 nothing was tuned")
@click.option("--numbers", default="", help="cases by comma, instead of all 45")
@click.option("--repairs", "with_repairs", is_flag=True)
def main(
    cache: Path, which: str, width: int, seed: int, numbers: str, *, with_repairs: bool
) -> None:
    """Print one line a case, then the figures."""
    chosen = [int(n) for n in numbers.split(",") if n] or range(45)
    rows, mended = [], []
    for number in chosen:
        if which != "all" and number % 2 != (which == "odd"):
            continue
        case = kept_case(number, cache, (width, width * 2 // 3), seed=seed)
        figures, merged = judge(case)
        rows.append((case, figures))
        print(number, case.kind, figures, flush=True)
        if with_repairs and case.wrong:
            mended.append(repairs(case, merged))
            print("   ", mended[-1], flush=True)
    _totals(rows)
    _repair_totals(mended)


def _totals(rows: list[tuple[Case, dict[str, object]]]) -> None:
    for name in ("recall", "precision", "error_px", "error_share"):
        values = [
            float(f[name]) for c, f in rows if f[name] is not None and (c.wrong or "error" in name)
        ]  # type: ignore[arg-type]
        if values:
            print(f"{name}: median {np.nanmedian(values):.2f}, least {np.nanmin(values):.2f}")
        if values and "error" not in name:
            print(f"    0.85 and more in {sum(v >= 0.85 for v in values)} of {len(values)}")
    fine = [f for c, f in rows if not c.wrong]
    print(f"nothing wrong: {sum(bool(f['loud']) for f in fine)} of {len(fine)} with warn or fail")


def _repair_totals(mended: list[dict[str, object]]) -> None:
    for mode in ("extend", "bridge", "taper", "sharpen"):
        tried = [row[mode] for row in mended if mode in row]
        applied = [row for row in tried if row[0] != "refused"]  # type: ignore[index]
        gains = [row[2] for row in applied]  # type: ignore[index]
        none = sum(row[0] == "None" for row in applied)  # type: ignore[index]
        print(f"{mode}: applied {len(applied)} of {len(tried)}, no flag left in {none}", end="")
        print(f", {min(gains):.1f} to {max(gains):.1f} dB after" if gains else "")
    enough = [row for row in mended if row["bridge_suffices"]]
    closed = sum(row["bridge"][0] == "None" for row in enough)  # type: ignore[index]
    print(f"bridge: the f/16 frame is sharp enough in truth in {len(enough)}, no flag in {closed}")
    falls = [float(row["taper_fall"]) for row in mended if "taper_fall" in row]  # type: ignore[arg-type]
    if falls:
        print(f"taper: blur falls at most {max(falls):.2f} times; below 1.3 nobody sees it")


if __name__ == "__main__":
    main()
