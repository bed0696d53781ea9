"""Disc and displacement found blind, on pictures made by the layered equations."""

import cv2
import numpy as np
import pytest

from blendkit.blending import BoughGroup, discs
from blendkit.blending.discs import DiscEvidence, fit_disc, forward_model, gather_evidence
from blendkit.blending.groups import find_groups
from blendkit.blending.proof import keep_likely, veil_testimony
from blendkit.blending.rerender import rerender
from blendkit.blending.veil import make_veil
from blendkit.filters.disc import disc_blur
from blendkit.frame import Float
from blendkit.settings import DiscSettings

SHAPE = (400, 600)


def twigs(seed: int, columns: tuple[int, int] = (0, 600)) -> Float:
    rng = np.random.default_rng(seed)
    drawn = np.zeros(SHAPE, np.uint8)
    for _ in range(7):
        ends = [(int(rng.integers(*columns)), int(rng.integers(0, 400))) for _ in range(2)]
        cv2.line(drawn, *ends, 255, int(rng.integers(2, 8)), cv2.LINE_AA)
    return np.float32(drawn / 255)


def soft_trees(seed: int) -> Float:
    rng = np.random.default_rng(seed)
    return disc_blur(rng.uniform(0.1, 1.0, (*SHAPE, 3)).astype(np.float32), 30)


@pytest.mark.parametrize(
    ("disc_px", "shift_px"),
    [(24.0, (0.0, 0.0)), (50.0, (4.0, -6.0)), (90.0, (-8.0, 3.0)), (60.0, (17.0, -9.0))],
)
def test_disc_and_displacement_are_found_together(
    disc_px: float, shift_px: tuple[float, float]
) -> None:
    matte = twigs(1)
    color = np.full((*SHAPE, 3), 0.04, np.float32)
    plate = soft_trees(2)
    veil = make_veil(matte, color, [BoughGroup(np.ones_like(matte), disc_px, shift_px)])
    soft = veil.over(plate)
    evidence = gather_evidence(soft, plate, matte, color, np.ones_like(matte), DiscSettings())
    fit = fit_disc(evidence, DiscSettings())
    assert fit.disc_px == pytest.approx(disc_px, rel=0.05)
    assert fit.shift_px == pytest.approx(shift_px, abs=1.0)
    assert fit.residual < 0.2


def test_at_the_rim_the_search_expects_the_veil_that_is_made() -> None:
    """A trunk that the picture's rim cuts goes on behind it, for the search as for the veil."""
    matte = np.zeros(SHAPE, np.float32)
    matte[:, :12] = 1
    color = np.full((*SHAPE, 3), 0.04, np.float32)
    plate = soft_trees(2)
    evidence = gather_evidence(plate, plate, matte, color, np.ones_like(matte), DiscSettings())
    factor = evidence.factor
    one = BoughGroup(np.ones(evidence.foreground.shape[:2], np.float32), 60.0 / factor, (0.0, 0.0))
    alpha = evidence.foreground[..., 3]
    straight = evidence.foreground[..., :3] / np.maximum(alpha, 1e-6)[..., None]
    made = make_veil(alpha, straight, [one]).over(evidence.rerendered)
    expected = forward_model(evidence, 60.0 / factor, (0.0, 0.0))
    assert float(np.abs(expected - made).max()) < 0.01
    assert float(np.abs(made - evidence.rerendered)[:, 0].max()) > 0.1


@pytest.mark.parametrize(
    ("gain", "far_px", "believed"),
    [(0.01, 3.0, False), (0.05, 4.0, True), (0.05, 10.0, False), (0.2, 10.0, True)],
)
def test_the_farther_a_displacement_the_more_it_must_explain(
    gain: float, far_px: float, believed: bool, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Boughs that stood still, with scraps of trees pasted, asked for 38 px of 1200 at 0.056."""

    def residual(_: object, disc: float, shift: tuple[float, float]) -> float:
        return (1 - gain * (shift != (0.0, 0.0))) * (1 + (disc - 30) ** 2 / 1e4)

    monkeypatch.setattr(discs, "residual", residual)
    nothing = np.zeros((213, 320, 4), np.float32)
    evidence = DiscEvidence(
        soft=nothing[..., :3],
        rerendered=nothing[..., :3],
        foreground=nothing,
        weight=nothing[..., 0],
        local_light=nothing[..., :3],
        slow_px=13.0,
        factor=1,
    )
    disc_px, shift_px = discs._unless_needless(evidence, 30.0, (far_px, 0.0))
    assert disc_px == pytest.approx(30, abs=0.5)
    assert (shift_px != (0.0, 0.0)) == believed


def groups_of(soft: Float, plate: Float, matte: Float, color: Float) -> tuple[BoughGroup, ...]:
    evidence = gather_evidence(soft, plate, matte, color, np.ones_like(matte), DiscSettings())
    return find_groups(evidence, (600, 400), DiscSettings())


def test_what_left_no_veil_is_not_foreground() -> None:
    left, right = twigs(9, (0, 250)), twigs(10, (350, 600))
    color = np.full((*SHAPE, 3), 0.04, np.float32)
    plate = soft_trees(11)
    veil = make_veil(left, color, [BoughGroup(np.ones_like(left), 60.0, (0.0, 0.0))])
    behind = right[..., None] * color + (1 - right[..., None]) * plate
    behind = disc_blur(np.asarray(behind, np.float32), 12)
    soft = veil.over(behind)
    soft += np.random.default_rng(1).normal(0, 0.003, soft.shape).astype(np.float32)
    claimed = np.maximum(left, right)
    evidence = gather_evidence(soft, plate, claimed, color, np.ones_like(left), DiscSettings())
    groups = (BoughGroup(np.ones_like(left), 60.0, (0.0, 0.0)),)
    softness = np.full_like(left, 12.0)
    said = veil_testimony(evidence, groups, softness, DiscSettings())
    lean = cv2.resize(said.speaks * said.heard, SHAPE[::-1], interpolation=cv2.INTER_LINEAR)
    assert (lean * left).sum() / left.sum() > 0.3
    assert (lean * right).sum() / right.sum() < -0.3


def test_each_place_chooses_the_disc_that_made_its_veil() -> None:
    """Also where its group has another disc, and where the background is softer than the boughs."""
    parts = twigs(31, (0, 180)), twigs(32, (220, 380)), twigs(33, (420, 600))
    discs_px, ground_px = (20.0, 80.0, 40.0), 40.0
    color = np.full((*SHAPE, 3), 0.04, np.float32)
    soft = plate = soft_trees(34)
    # The last bunch is as soft as what is behind: as far off, that is.
    for part, disc_px in zip(parts, discs_px, strict=True):
        veil = make_veil(part, color, [BoughGroup(np.ones_like(part), disc_px, (0.0, 0.0))])
        soft = veil.over(soft)
    claimed = np.max(parts, axis=0)
    evidence = gather_evidence(soft, plate, claimed, color, np.ones_like(claimed), DiscSettings())
    groups = (BoughGroup(np.ones_like(claimed), 60.0, (0.0, 0.0)),)
    said = veil_testimony(evidence, groups, np.full_like(claimed, ground_px), DiscSettings())
    own, lead = (cv2.resize(v, SHAPE[::-1]) for v in (said.own_disc, said.lead))
    of = [float((own * part).sum() / part.sum()) for part in parts]
    assert of == pytest.approx([-1, 1, 0], abs=0.3)
    leads = [float((lead * part).sum() / part.sum()) for part in parts]
    assert min(leads[:2]) > 0.2
    assert leads[2] < 0.1


def dense_twigs() -> tuple[Float, Float, Float]:
    """Return matte and colour of dense twigs, and leaves behind them."""
    rng = np.random.default_rng(21)
    matte = np.zeros(SHAPE, np.uint8)
    for _ in range(90):
        ends = [(int(rng.integers(0, 600)), int(rng.integers(0, 400))) for _ in range(2)]
        cv2.line(matte, *ends, 255, int(rng.integers(2, 6)), cv2.LINE_AA)
    leaves = disc_blur(rng.uniform(0.0, 1.0, (*SHAPE, 3)).astype(np.float32), 6)
    return np.float32(matte / 255), np.full((*SHAPE, 3), 0.06, np.float32), leaves


@pytest.mark.parametrize("disc_px", [22.0, 26.0, 40.0])
def test_dense_boughs_as_soft_as_their_background_are_not_disproved(disc_px: float) -> None:
    matte, color, plate = dense_twigs()
    sharp = matte[..., None] * color + (1 - matte[..., None]) * plate
    veil = make_veil(matte, color, [BoughGroup(np.ones_like(matte), disc_px, (0.0, 0.0))])
    soft = veil.over(disc_blur(plate, 20))
    soft += np.random.default_rng(1).normal(0, 0.003, soft.shape).astype(np.float32)
    softness = np.full_like(matte, 20.0)
    behind, _ = rerender(sharp, 1 - matte, softness)
    evidence = gather_evidence(soft, behind, matte, color, np.ones_like(matte), DiscSettings())
    groups = (BoughGroup(np.ones_like(matte), disc_px, (0.0, 0.0)),)
    said = veil_testimony(evidence, groups, softness, DiscSettings())
    lean = cv2.resize(said.speaks * said.heard, SHAPE[::-1], interpolation=cv2.INTER_LINEAR)
    assert (matte * (lean < -0.2)).sum() / matte.sum() < 0.1


@pytest.mark.parametrize("masked", [False, True])
@pytest.mark.parametrize(("chance", "piece"), [(0.0, 0.0), (0.29, 0.4), (0.6, 1.0)])
def test_what_a_stroke_covers_is_kept_and_its_piece_needs_less(
    chance: float,
    piece: float,
    masked: bool,
) -> None:
    alpha, marked = np.zeros(SHAPE, np.float32), np.zeros(SHAPE, np.float32)
    alpha[100:106, 50:250], alpha[100:106, 350:550] = 0.9, 0.9
    marked[90:120, 100:120] = 1
    likely = np.full(SHAPE, chance, np.float32)
    kept = keep_likely(alpha, likely, 1, marked=marked, masked=masked)
    np.testing.assert_array_equal(kept[:, 100:120], alpha[:, 100:120])
    elsewhere = max((chance - 0.3) / 0.5, 0)
    if masked:
        piece = elsewhere
    np.testing.assert_allclose(kept[:, 130:250], piece * alpha[:, 130:250], atol=1e-4)
    np.testing.assert_allclose(kept[:, 350:], elsewhere * alpha[:, 350:], atol=1e-4)


@pytest.mark.parametrize("row", [550, 5300])
def test_a_place_is_judged_by_its_own_chance_however_far_down(row: int) -> None:
    """5,504 rows are no multiple of 14: read by stretching, the last lay a cell away."""
    alpha, cells = np.zeros((5504, 42), np.float32), np.zeros((394, 3), np.float32)
    alpha[row - 4 : row + 4] = 1
    cells[(row - 14) // 14 : (row + 14) // 14 + 1] = 1
    assert keep_likely(alpha, cells, 14)[row].min() == 1


def test_a_piece_is_judged_with_its_whole() -> None:
    """A bough with a poor stretch keeps more of it than a speck of the same chance."""
    alpha, chance = np.zeros((40, 60), np.float32), np.full((40, 60), 0.35, np.float32)
    alpha[20:24, 5:50], chance[16:, :30] = 1, 0.95
    alpha[5:9, 40:46] = 1
    kept = keep_likely(alpha, chance, 1)
    assert kept[22, 15] > 0.85
    assert kept[22, 45] > 0.4
    assert kept[7, 43] == pytest.approx(0.1, abs=0.01)


def test_boughs_at_two_distances_get_a_disc_each() -> None:
    left, right = twigs(3, (0, 250)), twigs(4, (350, 600))
    matte = np.maximum(left, right)
    color = np.full((*SHAPE, 3), 0.04, np.float32)
    plate = soft_trees(5)
    share = np.float32(np.arange(600)[None, :] < 300) * np.ones(SHAPE, np.float32)
    groups = [BoughGroup(share, 80.0, (0.0, 0.0)), BoughGroup(1 - share, 30.0, (0.0, 0.0))]
    veil = make_veil(matte, color, groups)
    soft = veil.over(plate)
    found = groups_of(soft, plate, matte, color)
    assert sorted(g.disc_px for g in found) == pytest.approx([30, 80], rel=0.1)
    near = max(found, key=lambda g: g.disc_px)
    assert (near.share * left).sum() / left.sum() > 0.9


def test_one_distance_is_not_split() -> None:
    matte = twigs(6)
    color = np.full((*SHAPE, 3), 0.04, np.float32)
    plate = soft_trees(7)
    veil = make_veil(matte, color, [BoughGroup(np.ones_like(matte), 60.0, (0.0, 0.0))])
    soft = veil.over(plate)
    soft += np.random.default_rng(1).normal(0, 0.003, soft.shape).astype(np.float32)
    assert len(groups_of(soft, plate, matte, color)) == 1


def test_no_foreground_has_no_veil() -> None:
    none = np.zeros(SHAPE, np.float32)
    plate = soft_trees(8)
    assert groups_of(plate, plate, none, plate) == ()
