"""The matte stage's parts, against PyMatting, known mixtures and drawn strokes."""

from concurrent.futures import ThreadPoolExecutor

import cv2
import numpy as np
import pytest
from pymatting import cf_laplacian, estimate_alpha_cf, estimate_foreground_ml
from skimage import data

from blendkit.filters.bands import gaussian
from blendkit.filters.disc import disc_blur
from blendkit.frame import Float, luminance
from blendkit.hints import Hints
from blendkit.masks.closed_form import closed_form
from blendkit.masks.color_levels import colors_under
from blendkit.masks.colors import foreground_color
from blendkit.masks.colour_vote import voted_by_colour
from blendkit.masks.evidence import (
    NO_PRIOR,
    PLANES,
    colour_evidence,
    exposure_scale,
    network_planes,
)
from blendkit.masks.matting_laplacian import laplacian_rows
from blendkit.masks.network import network_matte
from blendkit.masks.region import search_region
from blendkit.masks.spread import spread_strokes, within_reach

SHAPE = (160, 220)


def bough_over_gravel() -> tuple[Float, Float, Float, Float]:
    """Return picture, true matte, bough colour and background, linear light."""
    grey = np.square(np.asarray(data.gravel(), np.float32)[: SHAPE[0], : SHAPE[1]] / 255)
    background = np.repeat(0.2 + 0.5 * grey[..., None], 3, axis=2)
    drawn = np.zeros((SHAPE[0] * 4, SHAPE[1] * 4), np.uint8)
    cv2.line(drawn, (0, 100), (880, 500), 255, 60)
    cv2.line(drawn, (300, 240), (700, 40), 255, 20)
    matte = cv2.resize(drawn, SHAPE[::-1], interpolation=cv2.INTER_AREA).astype(np.float32) / 255
    color = np.full((*SHAPE, 3), (0.05, 0.03, 0.02), np.float32)
    return matte[..., None] * color + (1 - matte[..., None]) * background, matte, color, background


def test_closed_form_agrees_with_pymatting_on_the_same_open_pixels() -> None:
    picture, matte, _, _ = bough_over_gravel()
    kernel = np.ones((9, 9), np.uint8)
    trimap = np.full(SHAPE, 0.5)
    trimap[cv2.erode(matte, kernel) > 0.99] = 1
    trimap[cv2.dilate(matte, kernel) < 0.01] = 0
    theirs = estimate_alpha_cf(np.sqrt(picture.astype(np.float64)), trimap)
    open_ = trimap == 0.5
    none = np.zeros(SHAPE, np.float32)
    ours = closed_form(picture, trimap.astype(np.float32), none, open_, iterations=400)
    assert np.abs(ours - theirs)[open_].mean() < 0.005
    assert np.abs(ours - matte)[open_].mean() < 1.1 * np.abs(theirs - matte)[open_].mean() + 0.001


@pytest.mark.parametrize("share", [0.1, 1.0])
def test_rows_of_the_laplacian_are_those_of_pymatting(share: float) -> None:
    rng = np.random.default_rng(4)
    image = np.sqrt(rng.random((31, 43, 3)) * rng.random((31, 43, 1)))
    image[:12, :15] = 0.3  # flat windows, where only epsilon holds
    open_ = rng.random((31, 43)) < share
    open_[0, :20] = True
    columns, values = laplacian_rows(image, open_)
    dense = np.zeros((len(columns), open_.size))
    inside = columns >= 0
    dense[np.nonzero(inside)[0], columns[inside]] = values[inside]
    theirs = cf_laplacian(image, epsilon=1e-7).toarray()[open_.ravel()]
    assert np.abs(theirs).max() > 5
    assert np.abs(dense - theirs).max() < 1e-7


def test_colours_under_a_known_matte_come_as_near_as_those_of_pymatting() -> None:
    picture, matte, _, background = bough_over_gravel()
    shade = 0.5 + np.asarray(data.brick(), np.float32)[: SHAPE[0], : SHAPE[1], None] / 255
    color = shade * np.float32([0.2, 0.12, 0.06])
    noise = np.random.default_rng(1).normal(0, 0.004, picture.shape)
    mixed = matte[..., None] * color + (1 - matte[..., None]) * background + noise
    mixed = mixed.astype(np.float32)
    edge = (matte > 0.05) & (matte < 0.95)
    ours, theirs = (
        np.abs(matte[..., None] * (found - color))[edge].mean()
        for found in (foreground_color(mixed, matte), estimate_foreground_ml(mixed, matte))
    )
    assert 0 < ours < 1.05 * theirs


def test_colours_do_not_depend_on_which_way_the_picture_lies() -> None:
    """Each level begins with the coarser one's colours where they belong, not half a px aside."""
    picture, matte, _, _ = bough_over_gravel()
    picture, matte = picture[:129, :193], matte[:129, :193]  # every second px of both is one's
    turned = colors_under(picture[::-1, ::-1].copy(), matte[::-1, ::-1].copy())[::-1, ::-1]
    differ = np.abs(matte[..., None] * (turned - colors_under(picture, matte)))
    assert np.percentile(differ, 99.9) < 0.01


def test_colours_are_freed_of_the_light_that_shone_past_the_edge() -> None:
    picture, matte, color, _ = bough_over_gravel()
    found = foreground_color(picture, matte)
    edge = (matte > 0.1) & (matte < 0.9)
    plain = np.abs(picture - color)[edge].mean()
    freed = np.abs(found - color)[edge].mean()
    assert freed < 0.35 * plain
    solid = cv2.erode(matte, np.ones((3, 3), np.uint8)) > 0.999
    assert np.array_equal(found[solid], picture[solid])


def test_twigs_before_a_blue_sky_are_not_blue_where_the_frame_smooths_its_colour() -> None:
    """As a JPEG's halved colour, or a developer's colour noise reduction, leaves a twig of 4 px."""
    rows = np.arange(120, dtype=np.float32)[:, None]
    matte = np.clip(2.5 - np.abs(rows - 60.3 - 0.1 * np.arange(200)), 0, 1).astype(np.float32)
    color, sky = np.float32([0.09, 0.07, 0.05]), np.float32([0.25, 0.35, 0.6])
    sharp = matte[..., None] * color + (1 - matte[..., None]) * sky
    light = luminance(sharp)[..., None]
    taken = light + gaussian(sharp - light, 1.5)
    inside = matte > 0.9
    blue = [
        float((found[..., 2] - found[..., 1])[inside].mean())
        for found in (
            foreground_color(sharp, matte),
            foreground_color(taken, matte),
            foreground_color(taken, matte, color_blur_px=1.5),
        )
    ]
    assert blue[0] == pytest.approx(-0.02, abs=0.003)
    assert blue[1] > 0.04, "the sky's blue reaches the twig"
    assert blue[2] == pytest.approx(-0.02, abs=0.012)


def test_no_foreground_has_no_colour() -> None:
    picture, _, _, _ = bough_over_gravel()
    assert not foreground_color(picture, np.zeros(SHAPE, np.float32)).any()


def test_paint_decides_where_to_search() -> None:
    everywhere, none = np.ones(SHAPE, np.bool_), np.zeros(SHAPE, np.float32)
    painted, barred = none.copy(), none.copy()
    painted[:80], barred[:20] = 1, 1
    hints = Hints(foreground_mask=painted, background_mask=barred)
    frames = (np.full((*SHAPE, 3), 0.2, np.float32),) * 2
    region = search_region(everywhere, frames, (0.01, 0.01), none, none > 0, hints)
    assert region[20:80].all()
    assert not region[:20].any()
    assert not region[80:].any()


def test_without_paint_the_sitter_and_what_is_sharper_behind_are_left_alone() -> None:
    everywhere, sitter = np.ones(SHAPE, np.bool_), np.zeros(SHAPE, np.float32)
    leaves = np.random.default_rng(4).uniform(0.05, 0.5, (*SHAPE, 3)).astype(np.float32)
    leaves = gaussian(leaves, 1.0)
    soft = disc_blur(leaves, 12.0)
    twig = np.zeros(SHAPE, np.bool_)
    twig[:, 30:33] = True
    sharp = np.where(twig[..., None], np.float32(0.01), soft)
    sitter[:, 100:] = 1
    hers = sitter > 0
    region = search_region(everywhere, (leaves, sharp), (1e-3, 1e-3), sitter, hers, Hints())
    assert region[twig].all(), "a twig that only the foreground frame shows may be foreground"
    assert not region[:, 60:].any(), "leaves that are sharp in the background frame alone may not"
    same = search_region(everywhere, (soft, sharp), (1e-3, 1e-3), sitter, hers, Hints())
    assert same[:, :100].all()
    assert not same[:, 100:].any(), "nor may the sitter"
    hers[:, :120] = False
    same = search_region(everywhere, (soft, sharp), (1e-3, 1e-3), sitter, hers, Hints())
    assert same[:, :120].all(), "what is kept beside her may hold a bough"
    assert not same[:, 120:].any()


def test_strokes_keep_what_hangs_together_and_background_strokes_stop_them() -> None:
    proposal = np.zeros(SHAPE, np.float32)
    proposal[40:46], proposal[100:106] = 0.9, 0.9
    proposal[60:95, 100:104] = 0.9
    picture = np.full((*SHAPE, 3), 0.05, np.float32)
    front, back = np.zeros(SHAPE, np.float32), np.zeros(SHAPE, np.float32)
    front[41:44, 10:60] = 1
    back[101:104, 150:200] = 1
    kept = spread_strokes(proposal, picture, front, back)
    assert kept[42].min() == pytest.approx(0.9)
    assert not kept[100:106, 120:].any()


def test_a_dab_on_the_background_does_not_take_the_whole_tree() -> None:
    """A false trunk touches a bough: a dab takes its surroundings, a stroke along it takes all."""
    proposal = np.zeros((400, 600), np.float32)
    proposal[100:110] = 0.9  # the bough
    proposal[100:160, 300:308] = 0.9  # what was taken for one
    picture = np.full((*proposal.shape, 3), 0.05, np.float32)
    dab, stroke = np.zeros_like(proposal), np.zeros_like(proposal)
    dab[150:156, 300:306] = 1
    stroke[120:158, 302:305] = 1
    after_dab = spread_strokes(proposal, picture, None, dab)
    assert not after_dab[140:160].any()
    assert after_dab[100:110].all()
    assert after_dab[110:120, 300:308].all()
    after_stroke = spread_strokes(proposal, picture, None, stroke)
    assert not after_stroke[111:].any()
    assert after_stroke[100:110, :150].all()
    assert after_stroke[100:110, 450:].all()


@pytest.mark.parametrize("factor", [1, 3])
def test_a_reach_follows_the_piece_and_not_the_air(factor: int) -> None:
    """Two bars joined at one end only: what is near through the air is far along the piece."""
    piece = np.zeros((300 * factor, 700 * factor), np.bool_)
    piece[100 * factor : 110 * factor, 100 * factor : 600 * factor] = True
    piece[120 * factor : 130 * factor, 100 * factor : 600 * factor] = True
    piece[100 * factor : 130 * factor, 590 * factor : 600 * factor] = True
    marked = np.zeros_like(piece)
    marked[103 * factor : 107 * factor, 200 * factor : 240 * factor] = True
    found = within_reach(piece, marked)
    along = np.flatnonzero(found[105 * factor]) / factor
    wide = 3 * np.hypot(40, 4)
    assert along[0] == pytest.approx(200 - min(wide, 100), abs=30)
    assert along[-1] == pytest.approx(240 + wide, abs=30)
    assert not found[120 * factor :].any()


def test_a_piece_of_another_colour_is_not_taken_along() -> None:
    proposal = np.zeros(SHAPE, np.float32)
    proposal[40:46], proposal[100:106] = 0.9, 0.9
    picture = np.full((*SHAPE, 3), 0.04, np.float32)
    picture[90:] = (0.9, 0.2, 0.1)
    front = np.zeros(SHAPE, np.float32)
    front[41:44, 10:60] = 1
    kept = spread_strokes(proposal, picture, front, None)
    assert kept[40:46].all()
    assert not kept[100:106].any()


def test_the_network_sees_neither_exposure_nor_units() -> None:
    picture, matte, _, _ = bough_over_gravel()
    prior = np.full(SHAPE, NO_PRIOR, np.float32)
    planes = [
        network_planes(p, p, matte, prior, matte, 0.01 * gain, exposure_scale(p))
        for gain, p in ((1, picture), (4, picture / 4))
    ]
    assert planes[0].shape == (PLANES, *SHAPE)
    np.testing.assert_allclose(planes[0][:6], planes[1][:6], atol=1e-5)


def test_colours_are_told_apart_in_lamplight() -> None:
    """Tungsten light, which leaves a fifth of blue, pushed half the picture off the bins' end."""
    rng = np.random.default_rng(5)
    leaf, bark = np.float32([0.1, 0.2, 0.05]), np.float32([0.1, 0.2, 0.02])
    spread = np.exp(rng.normal(0, 0.15, (120, 160, 3))).astype(np.float32)
    front = np.zeros((120, 160), np.float32)
    front[30:60, 30:60] = 1
    scene = spread * np.where(front[..., None] > 0, bark, leaf)
    hint = np.zeros_like(front)
    hint[20:80, 20:80] = 1
    for light in ((1.0, 1.0, 1.0), (1.0, 0.55, 0.2)):
        chance = colour_evidence(scene * np.float32(light), hint, 1.0)
        inside = hint > 0
        assert chance[inside & (front > 0)].mean() > 0.75
        assert chance[inside & (front <= 0)].mean() < 0.25


def test_the_matte_does_not_depend_on_threads() -> None:
    picture, matte, _, background = bough_over_gravel()
    soft = cv2.blur(background, (31, 31))
    hint = (cv2.dilate(matte, np.ones((25, 25))) > 0.5).astype(np.float32)
    threads = cv2.getNumThreads()
    found = []
    try:
        for count in (1, 2):
            cv2.setNumThreads(count)
            found.append(network_matte(soft, picture, hint, 0.002))
    finally:
        cv2.setNumThreads(threads)
    assert np.array_equal(*found)
    assert not found[0][hint == 0].any()


def test_pairs_of_two_sizes_are_worked_at_once_as_one_after_the_other() -> None:
    # The page's server previews two pairs in two threads.
    picture, matte, _, background = bough_over_gravel()
    soft = cv2.GaussianBlur(background, (0, 0), 4)
    pairs = [(picture[:high, :wide], soft[:high, :wide], matte[:high, :wide])
             for high, wide in ((160, 220), (96, 130), (130, 64), (80, 200))]  # fmt: skip

    def worked(pair: tuple[Float, Float, Float]) -> tuple[Float, Float]:
        sharp, behind, where = pair
        hint = np.ones(where.shape, np.float32)
        return network_matte(behind, sharp, hint, 0.002), foreground_color(sharp, where)

    alone = [worked(pair) for pair in pairs]
    with ThreadPoolExecutor(len(pairs)) as pool:
        together = list(pool.map(worked, pairs * 4))
    for index, (found, colour) in enumerate(together):
        assert np.array_equal(found, alone[index % len(pairs)][0])
        assert np.array_equal(colour, alone[index % len(pairs)][1])


def test_colours_of_the_pair_settle_doubt_both_ways_only_where_they_differ() -> None:
    picture, matte, _, background = bough_over_gravel()
    region = cv2.dilate(matte, np.ones((21, 21))) > 0.5
    column = np.arange(SHAPE[1])
    gap = (matte > 0.99) & (column >= 150) & (column < 156)
    speck = region & (matte == 0) & (column >= 40) & (column < 46)
    doubtful = np.where(gap, 0.4, np.where(speck, 0.6, matte)).astype(np.float32)
    voted = voted_by_colour(background, picture, doubtful, region)
    assert voted[gap].mean() > 0.6
    assert voted[speck].mean() < 0.45
    assert voted[region & (matte == 0) & ~speck].max() < 0.01
    same = voted_by_colour(background, background, doubtful, region)
    assert abs(same[gap].mean() - 0.4) < 0.15
