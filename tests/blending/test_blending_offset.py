"""What is re-rendered takes its light from what is divided, but only where both are worth it."""

import numpy as np

from blendkit.blending import Veil, WholeBackdrop
from blendkit.blending.plate import make_plate
from blendkit.frame import Float
from blendkit.settings import PlateSettings

SHAPE = (120, 480)
SKY = np.float32([0.05, 0.15, 0.30])
LEAF = np.float32([0.36, 0.40, 0.18])
MIDDLE = SHAPE[1] // 2


def plate_of(guess: Float, mass: Float, taken_for: float = 1.0) -> Float:
    """Return the plate of a sky behind leaves, thin on the left and dense on the right.

    guess: the sky re-rendered, (height, width, 3); mass: what it rests on, (height, width).
    taken_for: the veil's light as it was estimated, against what it is.
    """
    coverage = np.full(SHAPE, 0.5, np.float32)
    coverage[:, MIDDLE:] = 0.9
    light = coverage[..., None] * LEAF
    soft = light + (1 - coverage[..., None]) * SKY
    veil = Veil(coverage, ((np.dstack([taken_for * light, coverage]).astype(np.float32), 1),))
    behind = WholeBackdrop(guess.astype(np.float32), mass.astype(np.float32))
    nobody = np.zeros(SHAPE, np.float32)
    return make_plate(soft.astype(np.float32), veil, behind, nobody, PlateSettings()).beneath


def test_a_guess_that_rests_on_nothing_colours_nothing_beside_it() -> None:
    # On the left leaves were re-rendered for want of sky; on the right the sky is known.
    guess, mass = np.broadcast_to(SKY, (*SHAPE, 3)).copy(), np.ones(SHAPE)
    guess[:, :MIDDLE], mass[:, :MIDDLE] = LEAF, 0.02
    beside = plate_of(guess, mass)[:, MIDDLE + 2 :]
    assert np.abs(beside - SKY).max() < 0.03


def test_light_that_the_frames_differ_in_leaves_no_step() -> None:
    # The re-rendered sky is a tenth too dark: beside what is divided it is lifted towards it.
    guess = np.broadcast_to(0.9 * SKY, (*SHAPE, 3))
    joined = plate_of(guess, np.ones(SHAPE))
    at_the_seam = joined[:, MIDDLE + 1 : MIDDLE + 4].mean(axis=(0, 1))
    assert (at_the_seam > 0.915 * SKY).all()
    assert (at_the_seam < SKY).all()


def test_a_veil_taken_for_too_much_leaves_the_sky_what_the_other_frame_shows() -> None:
    guess = np.broadcast_to(SKY, (*SHAPE, 3))
    joined = plate_of(guess, np.ones(SHAPE), taken_for=1.3)
    assert (joined > 0.57 * SKY - 0.004).all()
    # Where the other frame shows next to nothing there is nothing to hold to.
    alone = plate_of(guess, np.full(SHAPE, 0.01), taken_for=1.3)
    assert (alone[..., 0] < 0.2 * SKY[0]).any()


def test_what_is_darker_than_the_other_frame_shows_is_not_raised_by_a_breath_of_veil() -> None:
    # A dark sleeve beside the sky, which the re-rendered sky has spread over.
    coverage = np.full(SHAPE, 0.03, np.float32)
    sleeve = np.float32([0.10, 0.08, 0.06])
    soft = np.broadcast_to(0.97 * sleeve, (*SHAPE, 3)).astype(np.float32)
    veil = Veil(coverage, ((np.dstack([np.zeros((*SHAPE, 3)), coverage]).astype(np.float32), 1),))
    sky = WholeBackdrop(np.full((*SHAPE, 3), 0.5, np.float32), np.ones(SHAPE, np.float32))
    plate = make_plate(soft, veil, sky, np.zeros(SHAPE, np.float32), PlateSettings())
    assert np.abs(plate.beneath - sleeve).max() < 0.005
