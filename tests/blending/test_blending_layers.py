"""The layered model, taken apart and put together: exact pictures in, exact pictures out."""

import cv2
import numpy as np
import pytest

from blendkit.blending import BoughGroup, Plate, Veil, WholeBackdrop
from blendkit.blending.compose import compose, source_map
from blendkit.blending.finish import grain_plate
from blendkit.blending.plate import make_plate
from blendkit.blending.rerender import rerender, rerendered
from blendkit.blending.veil import make_veil
from blendkit.filters.bands import gaussian
from blendkit.filters.disc import disc_blur, disc_kernel
from blendkit.filters.tiles import whole as everywhere
from blendkit.frame import Float, Source
from blendkit.settings import GrainSettings, PlateSettings
from blendkit.sharpness.noise import NO_NOISE

SHAPE = (240, 320)
DISC_PX = 40.0


def layered(seed: int = 3) -> tuple[Float, Float, Float, Float]:
    """Return matte, foreground colour, plate and the veiled background frame, by the equations."""
    rng = np.random.default_rng(seed)
    matte = np.zeros(SHAPE, np.float32)
    for _ in range(6):
        start, end = rng.uniform(0, 1, 2) * SHAPE[::-1], rng.uniform(0, 1, 2) * SHAPE[::-1]
        for share in np.linspace(0, 1, 900):
            x, y = start + share * (end - start)
            matte[int(y) : int(y) + 3, int(x) : int(x) + 3] = 1
    color = np.full((*SHAPE, 3), (0.05, 0.04, 0.03), np.float32)
    plate = disc_blur(rng.uniform(0.1, 0.9, (*SHAPE, 3)).astype(np.float32), 25)
    veil = make_veil(matte, color, [whole()])
    return matte, color, plate, veil.over(plate)


def whole(disc_px: float = DISC_PX, shift_px: tuple[float, float] = (0.0, 0.0)) -> BoughGroup:
    return BoughGroup(np.ones(SHAPE, np.float32), disc_px, shift_px)


def behind(pixels: Float) -> WholeBackdrop:
    return WholeBackdrop(pixels, np.ones(SHAPE, np.float32))


@pytest.mark.parametrize("disc_px", [12.0, 45.0, 90.0, 160.0])
def test_halved_pictures_blur_as_the_disc_itself_does(disc_px: float) -> None:
    rng = np.random.default_rng(8)
    size = (500, 700)
    sharp = rng.uniform(0, 1, (*size, 3)).astype(np.float32)
    sharp[:, 300:330] = 0.02
    sharp[240:246] = 1.5
    keep = np.ones(size, np.float32)
    keep[100:140] = 0
    layers = np.dstack([sharp * keep[..., None], keep])
    exact = cv2.filter2D(layers, -1, disc_kernel(disc_px), borderType=cv2.BORDER_REPLICATE)
    wanted = exact[..., :3] / np.maximum(exact[..., 3:], 1e-4)
    found = rerendered(sharp, keep, np.full(size, disc_px, np.float32))
    pixels, mass = found.at(everywhere(size))
    # Each disc lies between two rungs of the ladder, 35 % apart.
    inner = slice(100, -100), slice(100, -100)
    assert np.abs(mass - exact[..., 3])[inner].max() < 0.05
    resting = exact[inner][..., 3] > 0.1
    assert 1e-5 < np.sqrt(np.square(pixels - wanted)[inner][resting].mean()) < 0.012
    part = slice(203, 321), slice(111, 400)
    for piece, all_of_it in zip(found.at(part), (pixels, mass), strict=True):
        np.testing.assert_allclose(piece, all_of_it[part], atol=1e-5)


def test_division_gives_the_plate_back_where_little_is_hidden() -> None:
    matte, color, plate, soft = layered()
    veil = make_veil(matte, color, [whole()])
    none = np.zeros(SHAPE, np.float32)
    found = make_plate(soft, veil, behind(plate * 0.8), none, PlateSettings())
    clear = veil.coverage < 0.3
    assert clear.mean() > 0.5
    before = np.abs(soft - plate)[clear].mean()
    after = np.abs(found.pixels - plate)[clear].mean()
    assert after < 0.1 * before


def test_rerendering_stands_in_where_division_would_be_an_echo() -> None:
    matte, color, plate, soft = layered()
    thick = np.ones_like(matte)
    veil = make_veil(thick, color, [whole()])
    none = np.zeros(SHAPE, np.float32)
    found = make_plate(soft, veil, behind(plate), none, PlateSettings())
    np.testing.assert_allclose(found.pixels, plate, atol=2e-3)
    assert found.divided.max() < 0.05


def test_a_sharp_background_is_not_replaced_by_a_guess_without_its_detail() -> None:
    matte, color, plate, _ = layered()
    texture = np.random.default_rng(9).uniform(0.7, 1.3, (*SHAPE, 1)).astype(np.float32)
    plate = gaussian(texture, 1.0)[..., None] * plate
    veil = make_veil(matte, color, [whole()])
    soft = veil.over(plate)
    guess = behind(disc_blur(np.ascontiguousarray(plate), 40.0))  # a focus pair's other frame
    none, sharper = np.zeros(SHAPE, np.float32), np.full(SHAPE, 40.0, np.float32)
    where = (veil.coverage > 0.2) & (veil.coverage < 0.6)
    assert where.sum() > 1000
    errors = [
        float(np.abs(found.pixels - plate)[where].mean())
        for found in (
            make_plate(soft, veil, guess, none, PlateSettings(), sharpness=known)
            for known in (None, none, sharper)
        )
    ]
    assert errors[0] == errors[1]
    assert errors[2] < 0.5 * errors[0]


def test_light_that_clipped_behind_boughs_comes_from_the_darker_frame() -> None:
    matte, color, plate, _ = layered()
    lamp = np.zeros(SHAPE, np.bool_)
    lamp[90:130, 140:180] = True
    plate = plate + 3 * lamp[..., None]
    veil = make_veil(matte, color, [whole()])
    soft = veil.over(plate)
    taken, full = np.minimum(soft, 1), soft.max(axis=2) >= 1
    none = np.zeros(SHAPE, np.float32)
    errors = []
    for known in (None, full):
        found = make_plate(taken, veil, behind(plate), none, PlateSettings(), full=known)
        errors.append(float(np.abs(found.pixels - plate)[lamp].mean()))
    assert errors[0] > 0.5
    assert errors[1] < 0.05
    assert found.divided[lamp].max() < 0.05


def test_a_full_disc_is_not_darkened_by_a_guess_that_lacks_its_light() -> None:
    matte, color, plate, _ = layered()
    lamp = np.zeros(SHAPE, np.bool_)
    lamp[90:130, 140:180] = True
    lit = np.where(lamp[..., None], 1.3, plate).astype(np.float32)
    veil = make_veil(matte, color, [whole()])
    soft = np.minimum(veil.over(lit), 1)
    full = soft.max(axis=2) >= 1
    none = np.zeros(SHAPE, np.float32)
    found = make_plate(soft, veil, behind(plate), none, PlateSettings(), full=full)
    assert full[lamp].mean() > 0.3
    assert (found.pixels >= soft - 1e-6)[full].all()
    assert found.pixels[full].max() < 2
    beyond = cv2.dilate(lamp.astype(np.uint8), np.ones((15, 15), np.uint8)) == 0
    far = make_plate(soft, veil, behind(plate), none, PlateSettings())
    np.testing.assert_allclose(found.pixels[beyond], far.pixels[beyond], atol=0.02)


def test_a_sitter_keeps_every_bit() -> None:
    matte, color, plate, soft = layered()
    veil = make_veil(matte, color, [whole()])
    sitter = np.zeros(SHAPE, np.float32)
    sitter[:, :150] = 1
    found = make_plate(soft, veil, behind(plate), sitter, PlateSettings())
    assert np.array_equal(found.pixels[:, :150], soft[:, :150])
    assert found.touched[:, 160:].any()


def test_rerendering_one_disc_is_plain_blur() -> None:
    sharp = np.random.default_rng(5).uniform(0, 1, (*SHAPE, 3)).astype(np.float32)
    full = np.full(SHAPE, 20.0, np.float32)
    pixels, mass = rerender(sharp, np.ones(SHAPE, np.float32), full)
    inner = (slice(30, -30), slice(30, -30))
    # The ladder of discs mixes the two neighbours of 20 px.
    exact = disc_blur(sharp, 20.0)
    assert np.abs(pixels - exact)[inner].std() < 0.35 * exact[inner].std()
    assert np.allclose(mass[inner], 1, atol=0.02)


def test_a_sitter_in_focus_does_not_smear_into_soft_trees() -> None:
    sharp = np.full((*SHAPE, 3), 0.2, np.float32)
    sharp[:, :160] = 0.8
    disc = np.full(SHAPE, 30.0, np.float32)
    disc[:, :160] = 0.0
    pixels, _ = rerender(sharp, np.ones(SHAPE, np.float32), disc)
    assert np.abs(pixels[:, 162:] - 0.2).max() < 0.02


def test_the_gap_behind_the_foreground_is_closed_from_around_it() -> None:
    sharp = np.full((*SHAPE, 3), 0.4, np.float32)
    keep = np.ones(SHAPE, np.float32)
    keep[100:140, 100:220] = 0
    sharp[100:140, 100:220] = 0.01
    pixels, _ = rerender(sharp, keep, np.full(SHAPE, 10.0, np.float32))
    np.testing.assert_allclose(pixels, 0.4, atol=2e-3)


@pytest.mark.parametrize(
    ("value", "source"), [(0.0, Source.BACKGROUND_FRAME), (1.0, Source.FOREGROUND_FRAME)]
)
def test_a_matte_of_one_tone_gives_one_frame(value: float, source: Source) -> None:
    rng = np.random.default_rng(1)
    background, color = rng.uniform(0, 1, (2, *SHAPE, 3)).astype(np.float32)
    alpha = np.full(SHAPE, value, np.float32)
    plate = Plate(background, background, np.ones(SHAPE, np.float32), np.zeros(SHAPE, np.bool_))
    wanted = background if value == 0 else color
    assert np.array_equal(compose(background, plate, alpha, color.__getitem__), wanted)
    assert (source_map(plate, alpha) == source).all()


def test_a_veil_keeps_the_light_it_spreads() -> None:
    matte = np.zeros(SHAPE, np.float32)
    matte[110:130, 150:170] = 1
    color = np.full((*SHAPE, 3), 0.3, np.float32)
    veil = make_veil(matte, color, [whole(60.0, (5.0, -3.0))])
    assert isinstance(veil, Veil)
    assert veil.coverage.sum() == pytest.approx(400, rel=0.01)
    rows, columns = np.indices(SHAPE)
    x = (veil.coverage * columns).sum() / veil.coverage.sum()
    y = (veil.coverage * rows).sum() / veil.coverage.sum()
    assert (x, y) == pytest.approx((159.5 + 5, 119.5 - 3), abs=0.15)


def test_grain_in_place_sees_its_neighbours_as_they_were() -> None:
    """The plate is changed row by row of tiles; what a tile looks at must not be changed yet."""
    rng = np.random.default_rng(4)
    shape = (1100, 560)
    background, beneath = (rng.uniform(0.1, 0.9, (*shape, 3)).astype(np.float32) for _ in range(2))
    touched = np.zeros(shape, np.bool_)
    touched[30:, 40:] = True
    coverage, softness = np.full(shape, 0.4, np.float32), np.full(shape, 12, np.float32)
    plate = Plate(background, beneath.copy(), np.ones(shape, np.float32), touched)
    before = plate.pixels
    grain_plate(plate, coverage, softness, NO_NOISE, GrainSettings())
    fine = before - gaussian(before, 1.5)
    wanted = np.where(touched[..., None], np.maximum(before - 0.4 * fine, 0), background)
    assert np.abs(plate.pixels - wanted).max() < 1e-5
    assert np.abs(plate.pixels - before)[touched].mean() > 0.01
