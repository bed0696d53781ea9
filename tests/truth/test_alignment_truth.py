"""Alignment of simulated pairs against their exact warp, with bounds on both sides.

Disc diameters are stated at 1200 px width; the frames here are half of that.
"""

from dataclasses import replace

import numpy as np
import pytest

from blendkit.alignment import Alignment
from blendkit.alignment.estimate import align
from blendkit.errors import AlignmentError
from blendkit.frame import Frame, Matrix
from blendkit.settings import AlignmentSettings
from blendkit.simulate import SCENES, PairSpec, Scene, render
from blendkit.simulate.camera import translation
from blendkit.simulate.metrics import grid_rms_px
from blendkit.simulate.pair import warp_between
from blendkit.simulate.sensor import exposed

SIZE = (600, 400)
SETTINGS = AlignmentSettings()
PLAIN = PairSpec(
    foreground_disc_px=(35.0, 1.5),
    background_disc_px=(20.0, 3.0),
    shift_px=(6.5, -4.25),
    rotation_deg=0.6,
    scale=1.012,
    gain=1.4,
    falloff_ev=(1.2, 0.1),
    seed=4,
)


def _taken(scene: Scene, spec: PairSpec) -> tuple[Frame, Frame, Matrix]:
    """Return both frames and the true warp of the zone in focus."""
    wide, narrow = spec.cameras(scene)
    moves = spec.movements(scene)
    light = render(scene, wide, seed=1), render(scene, narrow, moves=moves, seed=2)
    frames = [
        Frame(exposed(pixels, camera, tone_curve=spec.tone_curve, seed=seed))
        for pixels, camera, seed in zip(light, (wide, narrow), (3, 4), strict=True)
    ]
    sway = moves[scene.anchor.name]
    return frames[0], frames[1], warp_between(scene, narrow) @ translation(*sway)


def _aligned(scene: Scene, spec: PairSpec) -> tuple[Alignment, float]:
    here, there, wanted = _taken(scene, spec)
    found = align(here.pixels, there.pixels, SETTINGS)
    return found, grid_rms_px(found.matrix, wanted, SIZE)


def _with_nobody(name: str) -> Scene:
    scene = SCENES[name](3, SIZE)
    return replace(scene, layers=[layer for layer in scene.layers if layer.role != "sitter"])


@pytest.fixture(scope="module")
def scene() -> Scene:
    return SCENES["thin_boughs_over_woods"](3, SIZE)


@pytest.mark.parametrize(("disc_px", "bound_px"), [(10, 0.05), (40, 0.15), (120, 0.5)])
def test_error_stays_below_its_bar(scene: Scene, disc_px: float, bound_px: float) -> None:
    half = disc_px / 2
    spec = replace(
        PLAIN,
        foreground_disc_px=(half, 0.1 * half),
        background_disc_px=(0.6 * half, 0.06 * half),
    )
    found, error = _aligned(scene, spec)
    # Noise alone leaves some ten-thousandths of a px: less would mean that the truth leaked in.
    assert 1e-4 < error < bound_px
    assert found.confidence > 0.9
    assert found.model == "similarity"
    assert 0.01 < found.support < 0.99


def test_a_swaying_sitter_is_followed(scene: Scene) -> None:
    spec = replace(PLAIN, sway_px=(0.75, -0.2), background_disc_px=(12.0, 2.0))
    found, error = _aligned(scene, spec)
    assert 1e-4 < error < 0.3
    assert found.behind is not None, "this background is sharp enough to be measured"
    gap = np.hypot(found.behind.x_px + 0.75, found.behind.y_px - 0.2)
    assert gap <= found.behind.uncertainty_px < 0.5
    # From two layers nobody can tell a swaying sitter from a moving camera.
    assert found.sway_px is None
    assert found.parallax_px is None


def test_a_tripod_pair_is_a_translation_or_less_than_its_error_away(scene: Scene) -> None:
    still = replace(PLAIN, rotation_deg=0.0, scale=1.0, shift_px=(2.25, 1.5))
    found, error = _aligned(scene, replace(still, background_disc_px=(12.0, 2.0)))
    assert 1e-4 < error < 0.02
    linear = np.abs(found.matrix[:2, :2] - np.eye(2)).max() * SIZE[0] / 2
    assert linear < 0.08
    assert found.sway_px is not None, "where nothing moved, both are known"
    assert found.sway_px.length_px == 0


def test_wind_and_parallax_do_not_pull(scene: Scene) -> None:
    _, error = _aligned(scene, replace(PLAIN, wind_px=(12.0, 5.0), parallax_px=(3.0, 1.0)))
    assert 1e-4 < error < 0.15


def test_a_background_hardly_blurred_that_moved_does_not_lead(scene: Scene) -> None:
    # It fills most of the frame and correlates well: only its sharpness tells it from the sitter.
    near = replace(
        PLAIN,
        foreground_disc_px=(15.0, 1.5),
        background_disc_px=(8.2, 1.5),
        parallax_px=(3.1, 0.9),
    )
    found, error = _aligned(scene, near)
    assert 1e-4 < error < 0.15
    assert found.model == "similarity"
    assert error < found.uncertainty_px


@pytest.mark.parametrize("name", ["thin_boughs_over_woods", "boughs_at_two_depths"])
@pytest.mark.parametrize("far_px", [(27.0, 4.0), (22.0, 8.0)])
def test_without_anything_in_focus_in_both_the_background_leads(
    name: str, far_px: tuple[float, float]
) -> None:
    # What is sharp by chance, noise and twigs, used to lead the fit astray by tens of px.
    found, error = _aligned(_with_nobody(name), replace(PLAIN, background_disc_px=far_px))
    assert 1e-3 < error < 0.5
    assert error < found.uncertainty_px
    assert found.relative_disc_px > 8


@pytest.mark.parametrize(
    ("name", "far_px"),
    [
        ("thin_boughs_over_woods", (20.0, 11.0)),
        ("thick_boughs", (20.0, 11.0)),
        ("leaves", (24.0, 12.0)),
    ],
)
def test_a_background_soft_in_both_frames_leads_at_the_disc_between_them(
    name: str, far_px: tuple[float, float]
) -> None:
    # Focused on the boughs, with nobody in the picture: compared at a wrong blur, the fit promised
    # less error than at the right one, and was off by up to 7 px.
    found, error = _aligned(_with_nobody(name), replace(PLAIN, background_disc_px=far_px))
    assert 1e-3 < error < 0.25
    assert error < found.uncertainty_px < 1.0
    between_px = float(np.sqrt(far_px[0] ** 2 - far_px[1] ** 2))
    assert found.relative_disc_px == pytest.approx(between_px, rel=0.2)


def test_a_stated_uncertainty_covers_the_error_and_says_something(scene: Scene) -> None:
    found, error = _aligned(scene, replace(PLAIN, iso=(200.0, 1600.0)))
    assert error < found.uncertainty_px < 0.6


def test_another_scene_is_refused(scene: Scene) -> None:
    other = SCENES["thick_boughs"](8, SIZE)
    here, _, _ = _taken(scene, PLAIN)
    _, there, _ = _taken(other, replace(PLAIN, seed=9))
    with pytest.raises(AlignmentError, match="do not lie on each other"):
        align(here.pixels, there.pixels, SETTINGS)
