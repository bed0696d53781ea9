"""What alone is in focus is foreground, whatever its colour; where all is, nothing is said."""

import numpy as np
import pytest
from skimage import data, draw

from blendkit.filters.disc import disc_blur
from blendkit.frame import Bool, Float
from blendkit.masks import network
from blendkit.masks.missed_in_focus import missed_in_focus

NOBODY = np.zeros((400, 500), np.float32)


@pytest.fixture(scope="module")
def scene() -> Float:
    grey = np.square(data.gravel()[:400, :500].astype(np.float32) / 255)
    return np.repeat(grey[..., None], 3, axis=2)


@pytest.fixture(scope="module")
def leaf() -> Bool:
    region = np.zeros(NOBODY.shape, np.bool_)
    region[draw.ellipse(200, 300, 40, 25, shape=region.shape)] = True
    return region


def hint_around() -> Float:
    hint = NOBODY.copy()
    hint[100:300, 180:420] = 1
    return hint


def taken(scene: Float, leaf: Bool, far_px: float) -> Float:
    # The leaf shows what the woods show: its colours tell nothing.
    light = np.where(leaf[..., None], np.roll(scene, 60, axis=1), disc_blur(scene, far_px))
    noise = np.random.default_rng(2).normal(0, 0.004, scene.shape)
    return np.asarray(light + noise * np.sqrt(np.maximum(light, 0) + 1e-3), np.float32)


@pytest.mark.parametrize("far_px", [8.0, 14.0, 24.0])
def test_a_leaf_in_focus_before_woods_that_are_not(scene: Float, leaf: Bool, far_px: float) -> None:
    found = missed_in_focus(taken(scene, leaf, far_px), hint_around(), NOBODY, 1.0)
    assert (found[leaf] > 0.5).mean() > 0.6
    beside = hint_around() - leaf > 0
    # The windows reach some px past its outline.
    assert 0 < (found[beside] > 0).mean() < 0.06
    assert (found[hint_around() == 0] == 0).all()


def test_where_all_is_in_focus_nothing_is_said(scene: Float, leaf: Bool) -> None:
    found = missed_in_focus(taken(scene, leaf, 0.0), hint_around(), NOBODY, 1.0)
    assert (found > 0).mean() < 0.002


def test_what_was_found_is_not_missed(scene: Float, leaf: Bool) -> None:
    found = missed_in_focus(taken(scene, leaf, 14.0), hint_around(), leaf.astype(np.float32), 1.0)
    assert (found > 0).mean() < 0.002


def test_without_an_outside_there_is_nothing_to_compare(scene: Float, leaf: Bool) -> None:
    everywhere = np.ones_like(NOBODY)
    assert not missed_in_focus(taken(scene, leaf, 14.0), everywhere, NOBODY, 1.0).any()


@pytest.mark.parametrize("painted", [True, False])
def test_only_of_a_painted_mask_is_it_asked(
    painted: bool, scene: Float, leaf: Bool, monkeypatch: pytest.MonkeyPatch
) -> None:
    # A mask that was found holds trees behind, too, and they are as sharp.
    asked = []

    def missed(sharp: Float, *_: object) -> Float:
        asked.append(sharp.shape)
        return np.zeros(sharp.shape[:2], np.float32)

    monkeypatch.setattr(network, "missed_in_focus", missed)
    sharp = taken(scene, leaf, 14.0)
    network.network_matte(scene, sharp, hint_around(), 0.004, painted=painted)
    assert bool(asked) == painted
