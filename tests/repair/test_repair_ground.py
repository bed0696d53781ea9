"""Repairs of ground that is made up, so that what each mode may do is known beforehand."""

from dataclasses import replace
from typing import Any, cast

import numpy as np
import pytest

from blendkit.errors import InputError
from blendkit.frame import Capture, Float, Frame, Source
from blendkit.hints import NearerLine
from blendkit.masks import Matte
from blendkit.masks.strokes import Stroke
from blendkit.merge import Merged
from blendkit.midground import LensPair, ResultBlur
from blendkit.midground.soft_ground import soft_midground
from blendkit.repair import repair_result
from blendkit.report.html_profile import profile_figure
from blendkit.review.preview import Small
from blendkit.review.repairs import try_repair
from blendkit.settings import MergeSettings, ViewingSettings
from blendkit.sharpness.noise import NO_NOISE

FACTOR, SHAPE = 10, (60, 90)
SIZE = (SHAPE[1] * FACTOR, SHAPE[0] * FACTOR)
CAPTURES = Capture(f_number=4.0), Capture(f_number=4.0)
PLAIN_PX, OTHER = 0.3, 0.6
"""Values of the background frame and of the foreground frame."""
LINE = NearerLine(((450.0, 20.0), (450.0, 585.0)), 200.0)


def grown(values: Float) -> Float:
    return np.repeat(np.repeat(values, FACTOR, axis=0), FACTOR, axis=1)


def down_the_picture(profile: Float) -> Float:
    return np.repeat(profile[:, None], SHAPE[1], axis=1).astype(np.float32)


def merged_ground(
    x: Float,
    gap_px: float,
    pasted_from_px: float,
    *,
    nearer: tuple[NearerLine, ...] = (),
    viewing: ViewingSettings | None = None,
) -> tuple[Merged, Frame, Frame]:
    """Return a merge of ground with these signed background discs, flagged as `merge` does.

    pasted_from_px: signed background disc from which on the foreground frame was taken.
    """
    settings = MergeSettings(viewing=viewing or ViewingSettings())
    front = x - gap_px
    pasted = (x > pasted_from_px).astype(np.float32)
    disc = np.where(pasted > 0.5, np.abs(front), np.abs(x)).astype(np.float32)
    lens, sure = LensPair(1.0, gap_px, "measured"), np.ones(SHAPE, np.float32)
    blur = ResultBlur(disc, x, front, sure, FACTOR, lens)
    alpha = grown(pasted)
    back, ahead = (np.full((*alpha.shape, 3), value, np.float32) for value in (PLAIN_PX, OTHER))
    flags = tuple(soft_midground(blur, alpha, settings.viewing, CAPTURES, nearer=nearer))
    no = cast("Any", None)
    merged = Merged(
        pixels=np.where(alpha[..., None] > 0.5, ahead, back),
        sources=np.where(alpha > 0.5, 2, 1).astype(np.uint8),
        alignment=no,
        light=no,
        blur=no,
        matte=Matte(alpha, ahead, np.ones(alpha.shape, np.bool_)),
        groups=(),
        plate=no,
        aligned=ahead,
        covered=np.ones(alpha.shape, np.bool_),
        sitter=np.zeros(alpha.shape, np.float32),
        hers=np.zeros(alpha.shape, np.bool_),
        zones=no,
        noise=(NO_NOISE, NO_NOISE, NO_NOISE),
        flags=flags,
        settings=settings,
        time_s={},
        result_blur=blur,
    )
    return merged, Frame(back, CAPTURES[0], "wide"), Frame(ahead, CAPTURES[1], "stopped")


SLOPE = down_the_picture(np.linspace(-4, 14, SHAPE[0]))
HILL = down_the_picture(14.0 * np.linspace(0, 1.02, SHAPE[0]) ** 2.2)
"""No plane holds both its sharp ends."""


def soft(merged: Merged) -> list[Any]:
    return [flag for flag in merged.flags if flag.kind == "soft-midground"]


def test_extend_takes_the_foreground_frame_as_far_as_it_is_the_sharper_one() -> None:
    """The matte ended where the foreground frame was at 1 px and the background frame at 5."""
    merged, wide, stopped = merged_ground(SLOPE, 6.0, 5.0)
    assert {flag.kind for flag in merged.flags} == {"soft-midground", "blur-step"}
    done = repair_result(merged, wide, stopped, mode="extend")
    assert [attempt.applied for attempt in done.attempts] == [True]
    assert "stopped is sharper on" in done.attempts[0].why
    taken = done.merged.sources == Source.REPAIRED
    sharper = grown((SLOPE > 3.0) & (SLOPE <= 5.0))
    assert (taken & sharper).sum() == taken.sum() > 0.7 * sharper.sum()
    assert done.merged.pixels[taken].max() > OTHER - 0.05
    assert np.array_equal(done.merged.pixels[~taken], merged.pixels[~taken])
    assert "blur-step" not in {flag.kind for flag in done.merged.flags}


def test_a_repair_that_the_eye_sees_is_applied_though_its_flag_stays_as_loud() -> None:
    merged, wide, stopped = merged_ground(SLOPE, 12.0, 9.5)
    done = repair_result(merged, wide, stopped, mode="extend")
    (attempt,) = done.attempts
    assert (attempt.before, attempt.after, attempt.applied) == ("fail", "fail", True)
    assert "falls from 9.0 to 5." in attempt.why or "falls from 8." in attempt.why
    little, wide, stopped = merged_ground(SLOPE, 12.0, 7.0)
    (attempt,) = repair_result(little, wide, stopped, mode="extend").attempts
    assert not attempt.applied
    assert "would stay fail" in attempt.why


def test_after_a_partial_repair_flag_and_figure_say_what_is_left() -> None:
    merged, wide, stopped = merged_ground(SLOPE, 12.0, 9.5)
    (before,) = soft(merged)
    done = repair_result(merged, wide, stopped, mode="extend").merged
    (after,) = soft(done)
    assert done.result_blur is not None
    cells = after.region[FACTOR // 2 :: FACTOR, FACTOR // 2 :: FACTOR]
    worst = float(np.quantile(done.result_blur.disc_px[cells], 0.9))
    assert f"its disc reaches {worst:.1f} px" in after.message
    assert "after the repair" in after.message
    assert after.region.sum() <= before.region.sum()
    assert "extend" not in after.advice


def test_the_figure_hatches_no_ground_that_a_repair_made_sharp() -> None:
    merged, *_ = merged_ground(SLOPE, 12.0, 6.0)
    hatched = 'fill="url(#h)"'
    assert hatched in profile_figure(merged, CAPTURES)
    assert merged.result_blur is not None
    blur = merged.result_blur
    mended = repaired_to(merged, np.minimum(blur.disc_px, 1.0))
    assert hatched not in profile_figure(mended, CAPTURES)


@pytest.mark.parametrize(("focus_m", "told"), [(0.1, False), (0.05, False), (5.0, True)])
def test_the_figure_tells_distances_where_the_recorded_focus_can_be(
    focus_m: float, told: bool
) -> None:
    merged, *_ = merged_ground(SLOPE, 12.0, 6.0)
    own = Capture(f_number=4.0, focal_length_mm=100.0, focus_distance_m=focus_m)
    with_distances = profile_figure(merged, (own, CAPTURES[1]))
    assert (with_distances != profile_figure(merged, CAPTURES)) is told


def repaired_to(merged: Merged, disc_px: Float) -> Merged:
    blur = replace(merged.result_blur, disc_px=disc_px, repaired=np.ones(SHAPE, np.bool_))  # type: ignore[type-var]
    return replace(merged, result_blur=blur)


def test_a_second_repair_finds_the_ground_as_the_first_left_it() -> None:
    merged, wide, stopped = merged_ground(SLOPE, 12.0, 6.0)
    blur = merged.result_blur
    assert blur is not None
    assert repair_result(merged, wide, stopped, mode="taper").attempts[0].applied
    mended = repaired_to(merged, np.minimum(blur.disc_px, 1.0))
    done = repair_result(mended, wide, stopped, mode="taper")
    assert not any(attempt.applied for attempt in done.attempts)
    assert np.array_equal(done.merged.pixels, merged.pixels)


def test_sharpening_that_works_at_screen_size_only_is_refused_there_too() -> None:
    merged, wide, stopped = merged_ground(SLOPE, 9.0, 4.5)
    (small,) = repair_result(merged, wide, stopped, mode="sharpen").attempts
    (full,) = repair_result(merged, wide, stopped, mode="sharpen", scale=4.0).attempts
    assert "sharpening brings back up to" not in small.why
    assert not full.applied
    assert "px at full size; sharpening brings back up to 6 px" in full.why
    page = Small(wide, stopped, level=2, full_size=(4 * SIZE[0], 4 * SIZE[1]))
    with pytest.raises(InputError, match="at full size; sharpening brings back up to 6 px"):
        try_repair(merged, page, "sharpen")


def test_the_page_lets_ground_alone_whose_order_a_line_contradicts() -> None:
    merged, wide, stopped = merged_ground(SLOPE, 6.0, 5.0)
    page = Small(wide, stopped, level=2, full_size=(4 * SIZE[0], 4 * SIZE[1]))
    assert try_repair(merged, page, "extend") is not merged
    points = tuple((4 * x, 4 * y) for x, y in reversed(LINE.points))
    with pytest.raises(InputError, match="does not help here"):
        try_repair(merged, page, "extend", (Stroke(points, 800.0, "nearer"),))


def test_ground_that_only_a_line_gives_an_order_is_refused_with_the_reason() -> None:
    merged, wide, stopped = merged_ground(HILL, 14.0, 7.0, nearer=(LINE,))
    (flag,) = soft(merged)
    done = repair_result(merged, wide, stopped, mode="taper", nearer=(LINE,))
    (attempt,) = done.attempts
    assert (attempt.flag, attempt.before, attempt.applied) == (
        "soft-midground",
        flag.severity,
        False,
    )
    assert "known by your line only" in attempt.why
    assert soft(done.merged) == [flag]
