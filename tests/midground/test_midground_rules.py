"""The rules behind the flags: loudness, the thin lens that ties both frames, planes, tapering."""

import re
from dataclasses import replace

import numpy as np
import pytest
from numpy.typing import NDArray

from blendkit.filters.disc import disc_blur
from blendkit.frame import Capture
from blendkit.midground import LensPair, ResultBlur, Surface
from blendkit.midground.bridging import bridge_disc_px
from blendkit.midground.edge_discs import edge_discs
from blendkit.midground.lens_pair import (
    aperture_ratio,
    background_disc_px,
    foreground_disc_px,
    measured_gap_px,
)
from blendkit.midground.loudness import blur_severity, just_visible_px, step_severity
from blendkit.midground.result_blur import lens_of
from blendkit.midground.sharpening import sharpened
from blendkit.midground.soft_ground import (
    Ground,
    bridge_advice,
    grounds_of,
    soft_between_sharp,
)
from blendkit.midground.surfaces import continued, find_surfaces
from blendkit.midground.tapering import tapered_disc_px
from blendkit.optics import blur_disc_mm, depth_of_field, exact_f_number
from blendkit.optics.distances import between
from blendkit.optics.focus_gap import recorded_gap_px
from blendkit.plan import Scene, make_plan
from blendkit.settings import ViewingSettings


def test_severity_follows_the_limits_of_atchison_2005() -> None:
    # Atchison et al. 2005: troublesome 1.6-1.8 times, objectionable 2.1-2.5 times noticeable blur.
    assert [blur_severity(d, 1.0) for d in (1.55, 1.85, 2.05, 2.55)] == [
        "note",
        "warn",
        "warn",
        "fail",
    ]


def test_steps_count_within_the_weber_fractions_of_mather_and_smith_2002() -> None:
    # Weber fractions 0.28-0.56 for blur discrimination.
    assert step_severity(2.0, 2.0 * 1.27, 1.0) is None
    assert step_severity(2.0, 2.0 * 1.4, 1.0) == "note"
    assert step_severity(2.0, 2.0 * 1.7, 1.0) == "warn"


def test_a_print_looked_at_from_farther_hides_more_blur() -> None:
    near = just_visible_px((6000, 4000), ViewingSettings(viewing_cm=50))
    far = just_visible_px((6000, 4000), ViewingSettings(viewing_cm=100))
    assert far == pytest.approx(2 * near)


@pytest.mark.parametrize("stops", [(4.0, 4.0), (2.8, 8.0)])
def test_relative_blur_gives_back_both_discs_of_a_thin_lens(stops: tuple[float, float]) -> None:
    lens = {"focal_length_mm": 135.0}
    distance = np.linspace(3.0, 9.5, 40)
    px = 1200 / 36
    far, near = 10.0, 4.0
    b = blur_disc_mm(distance, f_number=stops[0], focus_distance_m=far, **lens) * px
    f = blur_disc_mm(distance, f_number=stops[1], focus_distance_m=near, **lens) * px
    captures = [
        Capture(f_number=stop, focal_length_mm=135.0, focus_distance_m=focus)
        for stop, focus in zip(stops, (far, near), strict=True)
    ]
    gap = recorded_gap_px(captures[0], captures[1], (1200, 800))
    assert gap is not None
    # Focusing nearer lengthens the image distance a little: the ratio is not quite the f-numbers'.
    pair = LensPair(aperture_ratio(captures[0], captures[1]), gap, "recorded")
    square = b**2 - f**2
    relative = np.sign(square) * np.sqrt(np.abs(square))
    x = background_disc_px(relative.astype(np.float32), pair)
    assert np.abs(x - b).max() < 0.03 * b.max()
    assert np.abs(np.abs(foreground_disc_px(x, pair)) - f).max() < 0.06 * max(f.max(), gap)


def test_the_gap_is_found_from_edges_that_read_too_sharp() -> None:
    rng = np.random.default_rng(4)
    gap = 14.0
    x = rng.uniform(-2, 18, 500)
    front = x - gap
    relative = np.sign(x**2 - front**2) * np.sqrt(np.abs(x**2 - front**2))
    reads = [0.3 * (np.hypot(d, 1.5) - 1.5) + 0.1 for d in (x, front)]
    noisy = [r * np.exp(0.3 * rng.standard_normal(500)) for r in reads]
    found = measured_gap_px(relative, noisy[0], noisy[1], 1.0, 60.0)
    assert found is not None
    assert 0.93 < found / gap < 1.12


def test_a_hedge_does_not_outvote_the_ground_before_it() -> None:
    rng = np.random.default_rng(5)
    gap = 14.0
    # Most samples lie at one distance, on a texture whose edges read three times as soft; in the
    # foreground frame it has no edges left.
    x = np.concatenate([rng.uniform(-2, 18, 500), np.full(4000, -4.0)])
    factor = np.concatenate([np.full(500, 0.25), np.full(4000, 0.8)])
    front = x - gap
    relative = np.sign(x**2 - front**2) * np.sqrt(np.abs(x**2 - front**2))
    edges_b, edges_f = (
        (share * (np.hypot(disc, 1.5) - 1.5) + 0.1) * np.exp(0.3 * rng.standard_normal(4500))
        for share, disc in ((factor, x), (0.25, front))
    )
    edges_f[500:] = np.nan
    found = measured_gap_px(relative, edges_b, edges_f, 1.0, 60.0)
    assert found is not None
    assert 0.95 < found / gap < 1.08


def test_an_edge_under_a_disc_reads_as_that_disc() -> None:
    step = np.zeros((160, 160), np.float32)
    step[:, 80:] = 0.5
    grain = np.full(step.shape, 1e-4, np.float32)
    for disc in (3.0, 6.0, 12.0):
        found, weight = edge_discs(disc_blur(step, disc), grain, 15)
        assert np.median(found[weight > 0.01]) == pytest.approx(disc, rel=0.2)


def test_depth_limits_bracket_what_the_disc_calls_sharp() -> None:
    near, far = (
        float(v) for v in depth_of_field(5.0, focal_length_mm=135, f_number=4, coc_mm=0.024)
    )
    inside = np.linspace(near, far, 9)
    discs = blur_disc_mm(inside, focal_length_mm=135, f_number=4, focus_distance_m=5.0)
    visible = just_visible_px((1200, 800), ViewingSettings()) * 36 / 1200
    assert visible == pytest.approx(0.024, rel=1e-3)
    assert discs.max() == pytest.approx(visible, rel=0.01)


def plane_blur(
    gap: float = 12.0, shape: tuple[int, int] = (60, 90), noise: float = 0.3
) -> tuple[ResultBlur, NDArray[np.float64]]:
    """Return a blur map of ground: signed disc from 14 px at the bottom to -4 px at the top."""
    rng = np.random.default_rng(2)
    x = np.repeat(np.linspace(-4, 14, shape[0])[:, None], shape[1], axis=1)
    measured = (x + noise * rng.standard_normal(shape)).astype(np.float32)
    lens = LensPair(1.0, gap, "measured")
    sure = np.ones(shape, np.float32)
    front = foreground_disc_px(measured, lens)
    return ResultBlur(
        np.minimum(np.abs(measured), np.abs(front)), measured, front, sure, 10, lens
    ), x


def test_a_plane_is_found_through_outliers() -> None:
    blur, x = plane_blur()
    blur.background_px[10:25, 20:40] = 30
    surface = find_surfaces(blur, np.ones(x.shape, bool))[0]
    assert np.abs(surface.discs_px() - x).max() < 0.5
    assert surface.region.mean() > 0.85


def ground_of(gap: float = 12.0) -> tuple[Ground, ResultBlur]:
    blur, x = plane_blur(gap)
    pasted = (x > gap / 2).astype(np.float32)
    disc = np.where(pasted > 0.5, np.abs(x - gap), np.abs(x)).astype(np.float32)
    everywhere = np.ones(x.shape, bool)
    surface = Surface(everywhere, (-4.0, 0.0, 18 / 59), everywhere)
    return Ground(surface, x.astype(np.float32), disc, pasted), blur


def test_soft_between_sharp_is_found_and_nothing_else() -> None:
    ground, _ = ground_of()
    soft = soft_between_sharp(ground, 3.0)
    assert soft is not None
    wanted = (ground.disc_px >= 3) & (ground.nearness > 0) & (ground.nearness < 12)
    assert (soft == wanted).mean() > 0.98


def test_a_single_frame_is_never_flagged() -> None:
    ground, _ = ground_of()
    alone = Ground(
        ground.surface, ground.nearness, np.abs(ground.nearness), np.zeros_like(ground.pasted)
    )
    assert soft_between_sharp(alone, 3.0) is None


def test_tapered_blur_grows_away_from_the_near_sharp_part() -> None:
    ground, _ = ground_of()
    wanted = tapered_disc_px(ground)
    start = np.median(ground.nearness[ground.pasted > 0.5])
    upwards = wanted[::-1, 45][ground.nearness[::-1, 45] < start]
    assert (np.diff(upwards) >= -1e-5).all()
    assert wanted.max() < ground.disc_px.max() + 0.01


def test_tapered_blur_grows_towards_the_camera_where_the_far_part_is_kept() -> None:
    ground, _ = ground_of()
    wanted = tapered_disc_px(ground, "far")[:, 45]
    x = ground.nearness[:, 45]
    assert (np.diff(wanted[x > 0]) >= -1e-5).all()
    assert np.array_equal(wanted[x <= 0], ground.disc_px[x <= 0, 45])
    assert wanted.max() < ground.disc_px.max() + 0.01


@pytest.mark.parametrize("ratio", [0.25, None])
def test_a_bridge_is_measured_where_the_result_is_sharp(ratio: float | None) -> None:
    ground, blur = ground_of()
    true = 0.25 * np.abs(ground.nearness - 5)
    square = ground.disc_px**2 - true**2
    # Large discs are measured too small by a tenth: in the zone that hides any disc of the bridge.
    relative = np.sign(square) * np.sqrt(np.abs(square)) * np.where(square > 0, 0.9, 1)
    sure = np.ones(true.shape, np.float32)
    known = {"lens": blur.lens, "ratio": ratio, "unit_px": 1.0}
    found = bridge_disc_px(ground, relative.astype(np.float32), sure, **known)
    assert np.abs(found - true).max() < 0.4


def test_what_a_bridge_leaves_soft_beside_its_focus_is_still_found() -> None:
    ground, _ = ground_of()
    bridged = np.minimum(ground.disc_px, 0.8 * np.abs(ground.nearness - 6))
    soft = soft_between_sharp(replace(ground, disc_px=bridged.astype(np.float32)), 2.0)
    assert soft is not None
    x = ground.nearness[soft]
    assert x.min() < 4
    assert x.max() > 8


def plain_far(blur: ResultBlur, x: NDArray[np.float64], until_px: float) -> ResultBlur:
    """Return a blur map whose far ground, up to a signed disc, is too plain to be measured."""
    sure = np.where(x < until_px, 0, 1).astype(np.float32)
    return replace(blur, confidence=sure)


def test_plain_ground_takes_the_order_of_the_ground_it_joins_up_to_the_focus() -> None:
    blur, x = plane_blur()
    surface = find_surfaces(plain_far(blur, x, 4.0), np.ones(x.shape, bool))[0]
    assert x[surface.seen].min() > 3.5
    assert -0.5 < x[surface.region].min() < 0.5


@pytest.mark.parametrize(("until_px", "flagged"), [(2.8, True), (8.0, False)])
def test_a_gap_before_plain_ground_is_flagged_if_blur_is_seen_to_fall(
    until_px: float, flagged: bool
) -> None:
    blur, x = plane_blur(gap=16.0)
    pasted = np.repeat(np.repeat(x[:, :1] > 12, x.shape[1], axis=1), 10, axis=0)
    alpha = np.repeat(pasted, 10, axis=1).astype(np.float32)
    (ground, *_) = grounds_of(plain_far(blur, x, until_px), alpha)
    assert (soft_between_sharp(ground, 2.5) is not None) == flagged


@pytest.mark.parametrize("disc", [2.0, 3.0, 4.0])
def test_sharpening_a_known_disc_wins_two_decibels_and_loses_nothing(disc: float) -> None:
    from skimage import data  # noqa: PLC0415

    sharp = (data.brick()[:256, :384].astype(np.float32) / 255) ** 2.2 * 0.5
    sharp = np.repeat(sharp[..., None], 3, axis=2)
    rng = np.random.default_rng(1)
    soft = disc_blur(sharp, disc) + 0.001 * rng.standard_normal(sharp.shape).astype(np.float32)
    better = sharpened(soft, np.full(soft.shape[:2], disc, np.float32), 0.001)
    before, after = (np.square(p - sharp)[16:-16, 16:-16].mean() for p in (soft, better))
    gain_db = 10 * np.log10(before / after)
    assert 2.0 <= gain_db < 20


@pytest.mark.parametrize(("far_m", "near_m"), [(5.0, 0.1), (0.12, 0.05), (5.0, 0.135)])
def test_a_recorded_distance_inside_the_focal_length_says_nothing(
    far_m: float, near_m: float
) -> None:
    far, near = (
        Capture(f_number=5.6, focal_length_mm=135, focus_distance_m=m) for m in (far_m, near_m)
    )
    assert recorded_gap_px(far, near, (1200, 800)) is None


def test_a_surface_keeps_all_that_was_seen_of_it_when_plain_ground_joins_it() -> None:
    """A part that touches the rest by a corner only is no surface of its own."""
    x = plane_blur(noise=0.0)[1]
    seen = np.zeros(x.shape, bool)
    seen[30:, 1:] = True
    seen[29, 0] = True  # by its corner
    surface = Surface(seen, (-4.0, 0.0, 18 / 59), seen)
    found = continued(surface, np.zeros(x.shape, bool))
    assert np.array_equal(found.region, seen)


def test_a_soft_ground_between_two_records_of_infinity_gets_advice() -> None:
    far = Capture(f_number=4, focus_distance_m=float("inf"))
    assert "between the two focus distances" in bridge_advice(ground_of()[1], 2.0, (far, far))


def told_of_gap(
    near_m: float, far_m: float, stops: tuple[float, float], visible_px: float
) -> tuple[str, float]:
    """Return the advice for a lens of 135 mm, and the gap in px."""
    frames = tuple(
        Capture(f_number=n, focal_length_mm=135, focus_distance_m=m)
        for n, m in zip(stops, (far_m, near_m), strict=True)
    )
    gap_px = recorded_gap_px(*frames, (1200, 800))
    assert gap_px is not None
    lens = LensPair(aperture_ratio(*frames), gap_px, "recorded")
    return bridge_advice(replace(ground_of()[1], lens=lens), visible_px, frames), gap_px


def disc_px(at_m: float, f_number: float, focus_m: float) -> float:
    disc_mm = blur_disc_mm(
        at_m,
        focal_length_mm=135,
        f_number=exact_f_number(f_number),
        focus_distance_m=focus_m,
    )
    return float(disc_mm) * 1200 / 36


def test_the_f_number_that_is_advised_holds_both_ends_of_the_gap() -> None:
    """By the thin lens: focused between them, in 1/distance, both ends are just visibly soft."""
    near_m, far_m = 2.0, 3.0
    told, _ = told_of_gap(near_m, far_m, (2.0, 8.0), 3.0)
    closing = re.search(r"take both frames at about f/(\d+), or a bridge frame", told)
    assert closing, told
    middle_m = 2 / (1 / near_m + 1 / far_m)
    for end_m in (near_m, far_m):
        assert disc_px(end_m, float(closing[1]), middle_m) == pytest.approx(3.0, rel=0.15)


def test_the_bridge_frame_that_is_advised_meets_what_both_frames_hold() -> None:
    """At f/8 two would be needed; the frames hold 3 px of the disc at f/8, 3 of that at f/2."""
    near_m, far_m = 2.0, 3.0
    told, gap_px = told_of_gap(near_m, far_m, (2.0, 8.0), 3.0)
    found = re.search(r"or a bridge frame at f/(\d+) focused at (\d\.\d\d) m", told)
    assert found, told
    nearness = [1 / near_m, 1 / far_m]
    ends = [np.interp(px, [0, gap_px], nearness) for px in (3, gap_px - 3 / 4)]
    discs = [disc_px(1 / float(end), float(found[1]), float(found[2])) for end in ends]
    assert max(discs) <= 3.0 * 1.05
    assert min(discs) > 3.0 * 2 ** (-1 / 3), "the next f-number in use"


@pytest.mark.parametrize(
    ("near_m", "far_m", "stops"),
    [
        (2.2, 4.0, (2.0, 4.0)),
        (2.2, 4.0, (2.0, 16.0)),
        (4.0, 11.0, (4.5, 4.5)),
        (2.2, 2.6, (2.8, 8.0)),
    ],
)
def test_a_merge_advises_the_bridge_frames_that_the_plan_does(
    near_m: float, far_m: float, stops: tuple[float, float]
) -> None:
    told, _ = told_of_gap(near_m, far_m, stops, 0.8)
    plan = make_plan(
        Scene(
            focal_length_mm=135,
            wide_f_number=stops[0],
            stopped_f_number=stops[1],
            subject_at_m=far_m,
            foreground_at_m=near_m,
            focus_stopped_m=near_m,
            coc_mm=0.8 * 36 / 1200,
        )
    )
    (bridge,) = plan.bridges
    stop = f"f/{bridge.frames[0].f_number:g} focused"
    if len(bridge.frames) > 1:
        ends = f"between {between(near_m, far_m)}"
        assert f"about {len(bridge.frames)} bridge frames at {stop} {ends}" in told
    else:
        assert f"a bridge frame at {stop} at {bridge.frames[0].focus_distance_m:.2f} m" in told


def test_a_bridge_is_never_focused_where_the_foreground_frame_is() -> None:
    told, _ = told_of_gap(2.2, 2.24, (2.0, 5.6), 0.8)
    found = re.search(r"a bridge frame at f/\S+ focused at (\d\.\d+) m", told)
    assert found, told
    assert 2.2 < float(found[1]) < 2.24


@pytest.mark.parametrize("distance_m", [4.0, float("inf")])
def test_a_focus_pair_whose_records_are_alike_is_measured(distance_m: float) -> None:
    """One f-number and one focus would be one picture: the record is too coarse to be used."""
    alike = Capture(f_number=4, focal_length_mm=135, focus_distance_m=distance_m)
    rng = np.random.default_rng(1)
    frames = [0.2 + 0.1 * rng.random((240, 360, 3)).astype(np.float32) for _ in range(2)]
    relative = np.zeros((40, 60), np.float32), np.ones((40, 60), np.float32), 6
    lens = lens_of((frames[0], frames[1]), (np.zeros_like, np.zeros_like), relative, (alike, alike))
    assert lens.evidence != "recorded"
    narrower = replace(alike, f_number=16)
    lens = lens_of(
        (frames[0], frames[1]), (np.zeros_like, np.zeros_like), relative, (alike, narrower)
    )
    assert (lens.evidence, lens.gap_px) == ("recorded", 0.0)
