"""The second look: of two bunches of twigs that look alike, only one has left a veil."""

import cv2
import numpy as np
import pytest

from blendkit.blending import BoughGroup
from blendkit.blending.discs import gather_evidence
from blendkit.blending.proof import veil_testimony
from blendkit.blending.veil import make_veil
from blendkit.filters.disc import disc_blur
from blendkit.frame import Float
from blendkit.masks import second_look as look
from blendkit.masks.second_look import PLANES, second_look, second_planes
from blendkit.settings import DiscSettings

SHAPE = (480, 720)
BARK = 0.04
GRAIN = 0.004


def twigs(seed: int, columns: tuple[int, int]) -> Float:
    rng = np.random.default_rng(seed)
    drawn = np.zeros(SHAPE, np.uint8)
    for _ in range(9):
        ends = [(int(rng.integers(*columns)), int(rng.integers(0, SHAPE[0]))) for _ in range(2)]
        cv2.line(drawn, *ends, 255, int(rng.integers(3, 8)), cv2.LINE_AA)
    return np.float32(drawn / 255)


def told(
    seed: int, boughs_px: float, ground_px: float, own_px: float = 0.0
) -> tuple[Float, Float, Float]:
    """Return twigs in front, twigs behind, and how likely the second look finds each place.

    own_px: the disc of the twigs in front in their own frame.
    """
    rng = np.random.default_rng(seed)
    front, behind = twigs(seed, (0, 330)), twigs(seed + 1, (390, 720))
    trees = disc_blur(rng.uniform(0.1, 1.0, (*SHAPE, 3)).astype(np.float32), 8)
    bark = np.full((*SHAPE, 3), BARK, np.float32)
    ground = behind[..., None] * bark + (1 - behind[..., None]) * trees
    front = disc_blur(front, own_px) if own_px else front
    sharp = front[..., None] * bark + (1 - front[..., None]) * ground
    relative_px = float(np.sqrt(boughs_px**2 - own_px**2))
    veil = make_veil(front, bark, [BoughGroup(np.ones_like(front), relative_px, (0.0, 0.0))])
    soft = veil.over(disc_blur(ground, ground_px))
    soft += rng.normal(0, 0.003, soft.shape).astype(np.float32)
    sharp = (sharp + rng.normal(0, GRAIN, sharp.shape)).astype(np.float32)
    claimed = np.maximum(front, behind)
    guess = disc_blur(trees, ground_px)
    evidence = gather_evidence(soft, guess, claimed, bark, np.ones_like(front), DiscSettings())
    groups = (BoughGroup(np.ones_like(front), boughs_px, (0.0, 0.0)),)
    said = veil_testimony(evidence, groups, np.full_like(front, ground_px), DiscSettings())
    softly = own_px > 0
    likely = second_look(soft, sharp, claimed, said.parts, GRAIN, painted=True, soft=softly)
    whole = cv2.resize(likely, SHAPE[::-1], interpolation=cv2.INTER_LINEAR)
    return front, behind, np.asarray(whole, np.float32)


@pytest.mark.parametrize(("boughs_px", "ground_px"), [(90.0, 12.0), (60.0, 18.0), (48.0, 24.0)])
def test_twigs_in_front_are_told_from_their_likes_behind(
    boughs_px: float, ground_px: float
) -> None:
    front, behind, likely = told(3, boughs_px, ground_px)
    here, there = (float((likely * of).sum() / of.sum()) for of in (front, behind))
    assert here > 0.9
    assert there < 0.25


@pytest.mark.parametrize("own_px", [3.0, 5.0])
def test_so_are_twigs_that_are_soft_in_their_own_frame(own_px: float) -> None:
    front, behind, likely = told(3, 60.0, 18.0, own_px)
    here, there = (float((likely * of).sum() / of.sum()) for of in (front, behind))
    assert here > 0.8
    assert there < 0.4


@pytest.mark.parametrize(
    ("soft", "asked"), [(False, "veil_net.onnx"), (True, "soft_veil_net.onnx")]
)
def test_which_weights_are_asked(
    monkeypatch: pytest.MonkeyPatch, *, soft: bool, asked: str
) -> None:
    """Both tell the twigs above; which of them is asked, those tests cannot see."""
    names = []

    def network(name: str, planes: Float) -> Float:
        names.append(name)
        return planes[:1]

    monkeypatch.setattr(look, "run_network", network)
    picture, alpha = np.full((60, 90, 3), 0.2, np.float32), np.ones((60, 90), np.float32)
    said = (np.zeros((15, 23), np.float32),) * 8
    second_look(picture, picture, alpha, said, 0.004, painted=False, soft=soft)
    assert names == [asked]


def test_what_the_second_look_sees_is_at_half_size_and_has_no_units() -> None:
    """Twice the light in both frames is the same scene."""
    rng = np.random.default_rng(2)
    soft, sharp = (rng.uniform(0.05, 0.4, (61, 90, 3)).astype(np.float32) for _ in range(2))
    alpha = np.zeros((61, 90), np.float32)
    alpha[20:24] = 1
    said = tuple(
        np.full((16, 23), value, np.float32) for value in (0.2, 0.5, 0.3, 0.4, 0, 0, 1, 0.1)
    )
    dim, bright = (
        second_planes(k * soft, k * sharp, alpha, said, k * 0.002, painted=True) for k in (1, 2)
    )
    assert dim.shape == (PLANES, 31, 45)
    np.testing.assert_allclose(dim, bright, atol=2e-3)
