"""Tie points: exact ones give the transform back, clicked ones within their accuracy."""

import numpy as np
import pytest
from skimage import data, transform

from blendkit.alignment import models
from blendkit.alignment.estimate import align
from blendkit.alignment.ties import Tie, fit_ties
from blendkit.errors import AlignmentError
from blendkit.settings import AlignmentSettings

SIZE = (600, 400)
WARPS = {
    "translation": np.array([[1, 0, 7.5], [0, 1, -3.25], [0, 0, 1]]),
    "similarity": np.array([[1.02, -0.03, 5], [0.03, 1.02, -9], [0, 0, 1]]),
    "affine": np.array([[1.05, -0.03, 5], [0.06, 0.97, -9], [0, 0, 1]]),
    "homography": np.array([[1.05, -0.03, 5], [0.06, 0.97, -9], [8e-5, -6e-5, 1]]),
}
POINTS = np.array([[60, 50], [540, 70], [80, 350], [520, 330], [300, 200]], float)


def _paired(here: np.ndarray, there: np.ndarray) -> list[Tie]:
    return [
        ((float(a), float(b)), (float(c), float(d)))
        for (a, b), (c, d) in zip(here, there, strict=True)
    ]


def _ties(warp: np.ndarray, points: np.ndarray, error_px: float = 0.0) -> list[Tie]:
    rng = np.random.default_rng(3)
    there = models.apply(warp, points) + rng.normal(0, error_px, points.shape)
    return _paired(points, there)


@pytest.mark.parametrize(
    ("name", "count"), [("translation", 1), ("similarity", 2), ("affine", 3), ("homography", 4)]
)
def test_the_least_number_of_exact_ties_gives_the_transform_back(name: str, count: int) -> None:
    matrix, model = fit_ties(_ties(WARPS[name], POINTS[:count]), SIZE, name)
    assert model == name
    assert models.grid_distance_px(matrix, WARPS[name], SIZE) < 1e-6


@pytest.mark.parametrize("name", WARPS)
def test_auto_takes_the_simplest_model_that_fits(name: str) -> None:
    matrix, model = fit_ties(_ties(WARPS[name], POINTS), SIZE)
    assert model == {"translation": "similarity"}.get(name, name)
    assert models.grid_distance_px(matrix, WARPS[name], SIZE) < 1e-6


def test_clicked_points_are_as_good_as_the_clicks() -> None:
    matrix, _ = fit_ties(_ties(WARPS["similarity"], POINTS, 0.5), SIZE)
    assert 0.01 < models.grid_distance_px(matrix, WARPS["similarity"], SIZE) < 1.5


def test_a_point_that_contradicts_the_others_is_named() -> None:
    ties = _ties(WARPS["similarity"], np.vstack([POINTS, [[100, 200], [450, 180]]]))
    ties[2] = (ties[2][0], (ties[2][1][0] + 90, ties[2][1][1]))
    with pytest.raises(AlignmentError, match="tie point 3 "):
        fit_ties(ties, SIZE)


def test_too_few_points_and_points_on_one_spot_are_refused() -> None:
    with pytest.raises(AlignmentError, match="a homography needs at least 4"):
        fit_ties(_ties(WARPS["affine"], POINTS[:3]), SIZE, "homography")
    with pytest.raises(AlignmentError, match="spread them out"):
        fit_ties([((10, 10), (12, 9)), ((10, 10), (12, 9))], SIZE)


TURNED = models.apply(np.array([[0.98, -0.17, 40], [0.17, 0.98, -30], [0, 0, 1]]), POINTS)
LINE = np.array([[60, 60], [300, 200], [540, 340]], float)


@pytest.mark.parametrize("count", [2, 3, 5])
def test_where_the_motion_asked_for_does_not_fit_no_point_is_blamed(count: int) -> None:
    with pytest.raises(AlignmentError) as caught:
        fit_ties(_paired(POINTS[:count], TURNED[:count]), SIZE, "translation")
    shift = (TURNED[:count] - POINTS[:count]).mean(axis=0)
    off = np.hypot(*(TURNED[:count] - POINTS[:count] - shift).T).max()
    assert str(caught.value) == (
        f"no translation fits the tie points ({off:.0f} px off); leave --motion out, or check "
        "that each names one point twice"
    )


@pytest.mark.parametrize("name", ["translation", "affine"])
def test_a_wrong_point_is_named_under_the_motion_asked_for(name: str) -> None:
    there = models.apply(WARPS[name], POINTS)
    there[3, 1] += 60
    with pytest.raises(AlignmentError, match=r"tie point 4 lies \d+ px off what the others say"):
        fit_ties(_paired(POINTS, there), SIZE, name)


def test_points_on_one_line_carry_a_similarity_and_are_told_when_they_disagree() -> None:
    matrix, model = fit_ties(_ties(WARPS["similarity"], LINE), SIZE)
    assert model == "similarity"
    assert models.grid_distance_px(matrix, WARPS["similarity"], SIZE) < 1e-6
    there = models.apply(WARPS["similarity"], LINE)
    there[1, 0] += 40
    # Any two of three fit exactly: which one is wrong cannot be told.
    with pytest.raises(AlignmentError, match="contradict each other by 27 px: check that each"):
        fit_ties(_paired(LINE, there), SIZE)
    four = np.vstack([LINE, [[180, 130]]])
    there = models.apply(WARPS["similarity"], four)
    there[1, 0] += 40
    with pytest.raises(AlignmentError, match="tie point 2 lies 40 px off"):
        fit_ties(_paired(four, there), SIZE)
    with pytest.raises(AlignmentError, match=r"one line, too little for this motion \(affine\)"):
        fit_ties(_paired(LINE, there[:3]), SIZE, "affine")


def test_points_near_one_line_give_no_motion_that_only_the_clicks_tell() -> None:
    """Clicks of 1 px that fit an affine exactly moved the rest of the frame by 31 px."""
    near = LINE + np.array([[0, 0], [4, -7], [0, 0]])
    clicks = np.array([[0.6, -0.4], [-0.9, 1.1], [0.3, 0.5]])
    there = models.apply(WARPS["similarity"], near) + clicks
    matrix, model = fit_ties(_paired(near, there), SIZE)
    assert model == "similarity"
    assert models.grid_distance_px(matrix, WARPS["similarity"], SIZE) < 2
    with pytest.raises(AlignmentError, match=r"nearly one spot or one line.*spread them out"):
        fit_ties(_paired(near, there), SIZE, "affine")
    with pytest.raises(AlignmentError, match="spread them out"):
        fit_ties([((60, 60), (64, 54)), ((69, 63), (72, 58))], SIZE)


def test_pixels_refine_clicked_points() -> None:
    here = (transform.resize(data.coffee(), (400, 600), anti_aliasing=True) ** 2.2).astype(
        np.float32
    )
    warp = np.array([[1, 0, 60.0], [0, 1, -41.0], [0, 0, 1]]) @ WARPS["similarity"]
    there = transform.warp(here, np.linalg.inv(warp), order=5, mode="reflect").astype(np.float32)
    found = align(here, there, AlignmentSettings(), ties=_ties(warp, POINTS[2:], 0.6))
    # A shift of 0.1 of the width with a turn lies near the edge of what the search covers.
    assert models.grid_distance_px(found.matrix, warp, SIZE) < 0.1
    assert found.model == "similarity"


def test_ties_on_frames_that_show_nothing_in_common_are_taken_as_they_are() -> None:
    here, there = (
        (transform.resize(getattr(data, name)(), (400, 600), anti_aliasing=True) ** 2.2).astype(
            np.float32
        )
        for name in ("coffee", "chelsea")
    )
    found = align(here, there, AlignmentSettings(), ties=_ties(WARPS["similarity"], POINTS))
    assert models.grid_distance_px(found.matrix, WARPS["similarity"], SIZE) < 0.01
    assert 0.5 < found.uncertainty_px < 3


@pytest.mark.parametrize(
    "ties",
    [
        [((100, 100), (101, 98)), ((400, 250), (200, 20))],  # turned and shrunk
        [((100, 100), (101, 98)), ((400, 100), (401, 300))],  # turned
        [((590, 390), (12, 13))],  # hardly anything in common
    ],
)
def test_ties_that_no_pair_of_frames_can_have_are_refused(ties: list) -> None:
    here = transform.resize(data.coffee(), (400, 600), anti_aliasing=True).astype(np.float32)
    there = np.ascontiguousarray(np.roll(here, 3, axis=1))
    with pytest.raises(AlignmentError, match="tie points turn, scale or shift"):
        align(here, there, AlignmentSettings(), ties=ties)
