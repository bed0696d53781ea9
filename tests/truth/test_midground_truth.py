"""The mid-ground against truth: a gap on receding ground, scenes with nothing wrong, and repairs.

Small pictures; the 45 scenes with their figures are in tests/bench/midground_figures.py.
"""

import sys
from pathlib import Path

import numpy as np
import pytest

from blendkit.filters.disc import disc_blur
from blendkit.frame import Capture, Frame, Source
from blendkit.hints import Hints
from blendkit.masks.zones import SITTER
from blendkit.merge import Merged, merge_pair
from blendkit.midground import Flag
from blendkit.repair import repair_result
from blendkit.simulate.metrics import psnr

sys.path.insert(0, str(Path(__file__).parents[1] / "midground"))
from warped_ground import Lens, View, photograph, receding, standing, wall, with_noise

SIZE = (480, 320)
WIDTH = SIZE[0]


def taken(view: View, lens: Lens, *, iso: float = 100, seed: int = 1) -> Frame:
    capture = Capture(f_number=lens.f_number, iso=iso, focal_length_mm=lens.focal_length_mm)
    pixels = with_noise(photograph(view, lens, seed=seed), iso, seed=seed)
    return Frame(pixels, capture, f"f{lens.f_number:g}-{lens.focus_distance_m:g}m")


def merged_pair(
    view: View, lenses: tuple[Lens, Lens], matte: np.ndarray
) -> tuple[Merged, Frame, Frame]:
    background, foreground = (taken(view, lens, seed=k) for k, lens in enumerate(lenses))
    hints = Hints(matte=matte.astype(np.float32), aligned=True)
    return merge_pair(background, foreground, hints=hints), background, foreground


@pytest.fixture(scope="module")
def gap() -> tuple[Merged, Frame, Frame, View, tuple[np.ndarray, np.ndarray]]:
    """Ground in focus at 4 m in one frame and at 11 m in the other: both discs are 6 px between."""
    view = receding(SIZE, 3, surface="gravel", horizon=0.3)
    lenses = Lens(135, 4.6, 11.0, WIDTH), Lens(135, 4.6, 4.0, WIDTH)
    discs = tuple(lens.disc_px(view.distance_m) for lens in lenses)
    matte = np.abs(discs[1]) < np.abs(discs[0])
    return (*merged_pair(view, lenses, matte), view, discs)


def soft_flag(merged: Merged) -> Flag | None:
    return next((f for f in merged.flags if f.kind == "soft-midground"), None)


def test_the_gap_is_flagged_where_it_is(gap: tuple) -> None:
    merged, _, _, _, (disc_b, disc_f) = gap
    flag = soft_flag(merged)
    least = 3 * WIDTH / 1200
    wanted = (disc_b > least) & (disc_f < -least)
    assert flag is not None
    assert flag.severity == "fail"
    both = (flag.region & wanted).sum()
    assert both / wanted.sum() >= 0.85
    assert both / flag.region.sum() >= 0.85


def test_soft_ground_is_nobody(gap: tuple) -> None:
    """As soft in both frames alike as a sitter is sharp, it passes for one with the network."""
    merged = gap[0]
    flag = soft_flag(merged)
    assert flag is not None
    assert "ends-at-sitter" not in {one.kind for one in merged.flags}
    assert not merged.sitter[flag.region].any()
    assert not (merged.zones[flag.region] == SITTER).any()


def test_the_gap_between_both_focuses_is_measured_to_an_eighth(gap: tuple) -> None:
    merged, _, _, _, (disc_b, disc_f) = gap
    blur = merged.result_blur
    assert blur is not None
    assert blur.lens.evidence == "measured"
    true_gap = float(np.median(disc_b - disc_f))
    assert blur.lens.gap_px == pytest.approx(true_gap, rel=0.12)


def test_a_bridge_frame_at_f16_closes_the_gap(gap: tuple) -> None:
    merged, background, foreground, view, (disc_b, disc_f) = gap
    lens = Lens(135, 16.0, 5.9, WIDTH)
    bridge = taken(view, lens, iso=400, seed=9)
    done = repair_result(merged, background, foreground, mode="bridge", bridges=[bridge])
    zone = (disc_b > 1.2) & (disc_f < -1.2)
    truth = photograph(view, lens, seed=9)
    assert [a.applied for a in done.attempts] == [True]
    assert soft_flag(done.merged) is None
    before = psnr(merged.pixels, truth, region=zone)
    after = psnr(done.merged.pixels, truth, region=zone)
    assert before + 3 < after
    assert 34 <= after < 60


def test_two_bridge_frames_close_what_neither_closes_alone(gap: tuple) -> None:
    merged, background, foreground, view, (disc_b, disc_f) = gap
    lenses = [Lens(135, 8.0, focus_m, WIDTH) for focus_m in (4.9, 7.4)]
    bridges = [taken(view, lens, seed=9 + k) for k, lens in enumerate(lenses)]
    for one in bridges:
        done = repair_result(merged, background, foreground, mode="bridge", bridges=[one])
        assert soft_flag(done.merged) is not None
    done = repair_result(merged, background, foreground, mode="bridge", bridges=bridges)
    (attempt,) = done.attempts
    assert (attempt.applied, attempt.after) == (True, None)
    assert "f8-4.9m and f8-7.4m together leave" in attempt.why
    assert soft_flag(done.merged) is None
    # No rim of soft ground is left between them, where both are equally sharp.
    own = [np.abs(lens.disc_px(view.distance_m)) for lens in lenses]
    joint = (disc_b > 1.2) & (disc_f < -1.2) & (np.abs(own[0] - own[1]) < 0.25)
    truth = photograph(view, Lens(135, 22.0, 5.9, WIDTH), seed=9)
    least = min(psnr(one.pixels, truth, region=joint) for one in bridges)
    assert joint.sum() > 1000
    assert (done.merged.sources[joint] == Source.BRIDGE_FRAME).all()
    assert psnr(done.merged.pixels, truth, region=joint) > least - 0.2


def test_a_bridge_frame_that_is_nowhere_the_sharpest_changes_nothing(gap: tuple) -> None:
    merged, background, foreground, view, _ = gap
    sharp = taken(view, Lens(135, 16.0, 5.9, WIDTH), seed=9)
    softer = Frame(disc_blur(sharp.pixels, 3.0), Capture(iso=100), "softer.tif")
    alone, both = (
        repair_result(merged, background, foreground, mode="bridge", bridges=frames)
        for frames in ([sharp], [softer, sharp])
    )
    assert np.array_equal(alone.merged.pixels, both.merged.pixels)
    assert alone.attempts == both.attempts


def test_a_bridge_frame_must_show_the_ground_where_it_lies(gap: tuple) -> None:
    """The pair was given as aligned: nothing has looked yet at where the bridge frame lies."""
    merged, background, foreground, view, _ = gap
    bridge = taken(view, Lens(135, 16.0, 5.9, WIDTH), iso=400, seed=9)
    rng = np.random.default_rng(3)
    noise = rng.random(bridge.pixels.shape).astype(np.float32)
    other = taken(receding(SIZE, 8, surface="grass", horizon=0.3), Lens(135, 16.0, 5.9, WIDTH))
    moved = np.roll(bridge.pixels, (3, 4), axis=(0, 1))
    for pixels, said in (
        (noise, "does not show this ground where it lies"),
        (other.pixels, "does not show this ground where it lies"),
        (moved, "px off the pair"),
    ):
        wrong = Frame(pixels, bridge.capture, "b.tif")
        done = repair_result(merged, background, foreground, mode="bridge", bridges=[wrong])
        (attempt,) = done.attempts
        assert not attempt.applied
        assert attempt.why.startswith("b.tif was not used: ")
        assert said in attempt.why
        assert np.array_equal(done.merged.pixels, merged.pixels)
    done = repair_result(merged, background, foreground, mode="bridge", bridges=[wrong, bridge])
    assert done.attempts[0].applied
    assert "b.tif was not used" in done.attempts[0].why


def test_a_bridge_that_leaves_less_blur_is_taken_and_the_flag_says_what_is_left(
    gap: tuple,
) -> None:
    merged, background, foreground, view, _ = gap
    lens = Lens(135, 16.0, 5.9, WIDTH)
    half = disc_blur(taken(view, lens, seed=9).pixels, 3.0)
    bridge = Frame(half, Capture(iso=100, focal_length_mm=135), "half.tif")
    done = repair_result(merged, background, foreground, mode="bridge", bridges=[bridge])
    (attempt,) = done.attempts
    flag, before = soft_flag(done.merged), soft_flag(merged)
    assert attempt.applied
    assert flag is not None
    assert before is not None
    assert flag.severity == attempt.after
    assert "after the repair" in flag.message
    assert disc_told(flag) < disc_told(before) / 1.3


def disc_told(flag: Flag) -> float:
    return float(flag.message.split("its disc reaches ")[1].split(" px")[0])


def test_a_second_repair_lets_a_closed_gap_alone(gap: tuple) -> None:
    merged, background, foreground, view, _ = gap
    bridge = taken(view, Lens(135, 16.0, 5.9, WIDTH), iso=400, seed=9)
    first = repair_result(merged, background, foreground, mode="bridge", bridges=[bridge])
    second = repair_result(first.merged, background, foreground, mode="taper")
    assert second.attempts == ()
    assert second.merged is first.merged


def test_taper_lets_blur_only_grow(gap: tuple) -> None:
    merged, background, foreground, _, _ = gap
    done = repair_result(merged, background, foreground, mode="taper")
    assert [a.applied for a in done.attempts] == [True]
    assert fall_px(merged) > 2
    assert fall_px(done.merged) < 0.15


def fall_px(merged: Merged) -> float:
    """Return by how much blur falls at most on the way from the far focus to the picture's foot."""
    blur = merged.result_blur
    assert blur is not None
    column = blur.disc_px[:, blur.disc_px.shape[1] // 2]
    focus = slice(int(0.45 * len(column)), int(0.6 * len(column)))
    nearer = column[focus.start + int(np.argmin(column[focus])) :]
    return float((np.maximum.accumulate(nearer) - nearer).max())


def test_taper_leaves_whoever_is_in_focus_alone() -> None:
    bare = receding(SIZE, 3, surface="gravel", horizon=0.3)
    figure = standing(SIZE, 3, centre=0.5, foot=0.5, distance_m=11.0)
    view = View(bare.color, bare.distance_m, (figure,))
    lenses = Lens(135, 4.6, 11.0, WIDTH), Lens(135, 4.6, 4.0, WIDTH)
    near = np.abs(lenses[1].disc_px(view.distance_m)) < np.abs(lenses[0].disc_px(view.distance_m))
    merged, background, foreground = merged_pair(view, lenses, near)
    done = repair_result(merged, background, foreground, mode="taper")
    assert [a.applied for a in done.attempts] == [True]
    assert soft_flag(done.merged) is None
    inside = (figure.coverage > 0.99) & ~near
    assert inside.sum() > 1000
    changed = np.abs(done.merged.pixels - merged.pixels).max(axis=2) > 1e-6
    assert changed[inside].mean() < 0.02
    assert changed[near].mean() > 0.3


def test_sharpening_refuses_discs_beyond_its_reach() -> None:
    view = receding(SIZE, 3, surface="grass", horizon=0.3)
    lenses = Lens(200, 4.0, 11.0, WIDTH), Lens(200, 4.0, 4.0, WIDTH)
    matte = np.abs(lenses[1].disc_px(view.distance_m)) < np.abs(lenses[0].disc_px(view.distance_m))
    merged, background, foreground = merged_pair(view, lenses, matte)
    done = repair_result(merged, background, foreground, mode="sharpen")
    assert done.attempts
    assert not any(a.applied for a in done.attempts)
    assert "sharpening brings back up to" in done.attempts[0].why
    assert np.array_equal(done.merged.pixels, merged.pixels)


def test_a_soft_wall_and_ground_without_a_gap_are_left_alone() -> None:
    flat = wall(SIZE, 2, 6.0, surface="brick")
    ground = receding(SIZE, 2, surface="earth", horizon=0.3)
    none = np.zeros(SIZE[::-1])
    near = np.zeros(SIZE[::-1])
    near[220:] = 1
    cases = (
        (flat, (Lens(135, 4.0, 11.0, WIDTH), Lens(135, 4.0, 4.0, WIDTH)), none),
        (ground, (Lens(85, 16.0, 9.0, WIDTH), Lens(85, 16.0, 4.2, WIDTH)), near),
        (ground, (Lens(135, 2.8, 6.0, WIDTH), Lens(135, 16.0, 6.0, WIDTH)), none),
    )
    for view, lenses, matte in cases:
        merged, _, _ = merged_pair(view, lenses, matte)
        kinds = {"soft-midground", "blur-step"}
        loud = [f.kind for f in merged.flags if f.kind in kinds and f.severity != "note"]
        assert loud == []
