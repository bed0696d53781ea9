"""Which zone counts as in focus in both frames."""

import numpy as np
import pytest

from blendkit.alignment.quality import Evidence, confidence_of, stated_uncertainty_px
from blendkit.alignment.sharpest import sharp_zones
from blendkit.filters.disc import disc_blur
from blendkit.frame import Float

SHAPE = (240, 360)


def _texture(seed: int) -> Float:
    """Return fine texture with quiet places in it: noise is told by those."""
    fine = np.random.default_rng(seed).uniform(0.05, 0.6, (SHAPE[0] // 2, SHAPE[1] // 2))
    fine = fine.repeat(2, axis=0).repeat(2, axis=1)
    rows, columns = np.indices(SHAPE) // 40
    return np.where((rows + columns) % 2 == 0, fine, 0.3).astype(np.float32)


def _halves(left: Float, right: Float) -> Float:
    return np.hstack([left[:, :180], right[:, 180:]]).astype(np.float32)


@pytest.mark.parametrize("disc_px", [4.0, 8.0])
@pytest.mark.parametrize("noise", [0.0, 0.02])
def test_the_zone_sharp_in_both_frames_is_found(disc_px: float, noise: float) -> None:
    sharp = _texture(1)
    soft = disc_blur(sharp, disc_px)
    # Left: soft in the background frame only.  Right: sharp in both.
    here, there = _halves(soft, sharp), sharp
    rng = np.random.default_rng(2)
    frames = [(f + rng.normal(0, noise, SHAPE)).astype(np.float32) for f in (here, there)]
    for zone in sharp_zones(*frames, np.eye(3), 1):
        assert zone[20:-20, 210:-20].mean() > 0.08
        assert zone[20:-20, 20:150].mean() < 0.1 * zone[20:-20, 210:-20].mean()


def test_neither_frame_alone_makes_a_zone_sharp() -> None:
    sharp = _texture(3)
    soft = disc_blur(sharp, 6.0)
    loose, strict = sharp_zones(_halves(sharp, soft), _halves(soft, sharp), np.eye(3), 1)
    # Nothing is in focus in both: what is sharpest there has not the same blur.
    assert strict.mean() < 0.3 * loose.mean()
    assert loose.mean() > 0.05


def test_contradiction_and_doubt_widen_the_bound_and_doubt_lowers_confidence() -> None:
    calm = Evidence(0.8, 0.95, 0.02, 0.02, 0.2, 1200)
    apart = Evidence(0.8, 0.95, 0.02, 0.02, 0.2, 1200, apart_px=0.3)
    doubtful = Evidence(0.8, 0.95, 0.02, 0.02, 0.2, 1200, doubt_px=2.0)
    bounds = [stated_uncertainty_px(e) for e in (calm, apart, doubtful)]
    assert 0.02 < bounds[0] < 0.3 < bounds[1] < 2.0 < bounds[2]
    assert confidence_of(calm) > 0.95
    assert 0.5 < confidence_of(doubtful) < 0.9


def test_a_fit_to_blur_states_more_than_one_to_what_is_sharp() -> None:
    # A vignetted aperture has its middle elsewhere: 3 % of the disc beyond 10 px.
    sharp, slight, blurred = (
        Evidence(0.8, 0.95, 0.02, 0.02, 0.2, 1200, relative_disc_px=disc_px)
        for disc_px in (0.0, 8.0, -60.0)
    )
    assert stated_uncertainty_px(slight) == stated_uncertainty_px(sharp) < 0.3
    assert 1.5 < stated_uncertainty_px(blurred) < 2.0
