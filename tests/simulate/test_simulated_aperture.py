"""The sampled aperture against what geometry says about discs, edges and occlusion."""

import numpy as np
import pytest

from blendkit.errors import InputError
from blendkit.frame import Float
from blendkit.optics import blur_disc_mm
from blendkit.simulate import Camera, Layer, Scene, render

SIZE, MARGIN = (241, 201), 100
CANVAS = (SIZE[1] + 2 * MARGIN, SIZE[0] + 2 * MARGIN)
ROW, COLUMN = SIZE[1] // 2, SIZE[0] // 2


def _flat(level: float, distance_m: float = 40.0, name: str = "back") -> Layer:
    color = np.full((*CANVAS, 3), level, np.float32)
    return Layer(color, np.ones(CANVAS, np.float32), distance_m, "background", name)


def _with_point(light: float) -> Layer:
    layer = _flat(0.0)
    layer.color[MARGIN + ROW, MARGIN + COLUMN] = light
    return layer


def _scene(*layers: Layer) -> Scene:
    return Scene(layers, SIZE, MARGIN, "test")


def _camera(**discs: float) -> Camera:
    return Camera(focus_distance_m=6.0, f_number=2.8, blur_disc_px=discs)


def _moments(picture: Float) -> tuple[float, tuple[float, float], tuple[float, float]]:
    """Return the sum, the centroid (x, y) and the disc diameters (x, y) of the same variance."""
    light = picture[..., 0].astype(np.float64)
    y, x = np.mgrid[: light.shape[0], : light.shape[1]]
    total = light.sum()
    centre = float((x * light).sum() / total), float((y * light).sum() / total)
    wide = [
        4 * np.sqrt((a * light).sum() / total) for a in ((x - centre[0]) ** 2, (y - centre[1]) ** 2)
    ]
    return float(total), centre, (float(wide[0]), float(wide[1]))


@pytest.mark.parametrize("disc_px", [1.0, 2.5, 4.0, 7.0, 15.0, 40.0, 90.0, 130.0])
def test_a_point_becomes_a_disc_of_the_diameter_asked_for(disc_px: float) -> None:
    picture = render(_scene(_with_point(1000.0)), _camera(back=disc_px))
    total, centre, wide = _moments(picture)
    assert total == pytest.approx(1000.0, rel=2e-3)
    assert centre == pytest.approx((COLUMN, ROW), abs=0.01)
    # diffraction adds a Gaussian of 0.02 px here; two orders below the tolerance
    assert wide == pytest.approx((disc_px, disc_px), rel=0.015, abs=0.08)


def test_a_large_disc_is_even_and_not_dotted() -> None:
    picture = render(_scene(_with_point(1000.0)), _camera(back=120.0))[..., 0]
    y, x = np.mgrid[: SIZE[1], : SIZE[0]]
    inside = np.hypot(x - COLUMN, y - ROW) < 50
    assert picture[inside].std() / picture[inside].mean() < 0.25
    assert picture[np.hypot(x - COLUMN, y - ROW) > 66].max() == pytest.approx(0, abs=1e-6)


def test_disc_without_override_is_that_of_the_thin_lens() -> None:
    camera = Camera(focal_length_mm=135, f_number=4, focus_distance_m=5, pixel_pitch_mm=0.03)
    layer = _with_point(1000.0)
    expected_mm = blur_disc_mm(40.0, focal_length_mm=135, f_number=4, focus_distance_m=5)
    _, _, wide = _moments(render(_scene(layer), camera))
    assert wide[0] == pytest.approx(float(expected_mm) / 0.03, rel=0.015)


def test_what_is_in_focus_comes_through_untouched() -> None:
    rng = np.random.default_rng(0)
    layer = _flat(0.0)
    layer.color[:] = rng.uniform(0, 1, layer.color.shape)
    picture = render(_scene(layer), _camera(back=0.0))
    inner = layer.color[MARGIN:-MARGIN, MARGIN:-MARGIN]
    np.testing.assert_allclose(picture, inner, atol=2e-6)


def test_a_straight_edge_fades_as_the_area_of_a_cut_disc() -> None:
    edge = _flat(0.0, 2.5, "front")
    edge.coverage[:, : MARGIN + COLUMN] = 0
    picture = render(_scene(_flat(1.0), edge), _camera(front=60.0, back=0.0))[ROW, :, 0]
    # half-plane from the px border at COLUMN - 0.5; t in disc diameters from the edge
    t = np.clip((np.arange(SIZE[0]) - (COLUMN - 0.5)) / 30.0, -1, 1)
    covered = 0.5 + (t * np.sqrt(1 - t**2) + np.arcsin(t)) / np.pi
    np.testing.assert_allclose(1 - picture, covered, atol=0.012)


def test_a_twig_in_front_cuts_a_bar_out_of_the_disc_of_a_point_behind() -> None:
    """Exact occlusion: seen through u, the point lies at -40 u and the twig at +60 u.

    The point is hidden where |100 u| < 15, so its disc has a bar of 40/100 of the twig's 30 px.
    Layers blurred apart would dim the whole disc instead.
    """
    twig = _flat(0.0, 2.5, "front")
    twig.coverage[:] = 0
    twig.coverage[:, MARGIN + COLUMN - 15 : MARGIN + COLUMN + 16] = 1
    rows = slice(ROW - 9, ROW + 10)
    point = _with_point(1000.0)
    open_disc = render(_scene(point), _camera(back=40.0))[rows, :, 0].sum(axis=0)
    behind = render(_scene(point, twig), _camera(back=40.0, front=60.0))[rows, :, 0].sum(axis=0)
    bar = slice(COLUMN - 3, COLUMN + 4)
    sides = np.r_[COLUMN - 15 : COLUMN - 10, COLUMN + 11 : COLUMN + 16]
    assert behind[bar].sum() < 0.05 * open_disc[bar].sum()
    assert behind[sides].sum() == pytest.approx(open_disc[sides].sum(), rel=0.05)


def test_thin_twigs_veil_an_even_background_by_the_layered_model() -> None:
    """W = (aF)*k + (1 - a*k) B for even B: twig of 4 px, disc 60 px, peak a*k = 4 x 4/(60 pi)."""
    twig = _flat(0.1, 2.5, "front")
    twig.coverage[:] = 0
    twig.coverage[:, MARGIN + COLUMN - 2 : MARGIN + COLUMN + 2] = 1
    picture = render(_scene(_flat(0.8), twig), _camera(front=60.0, back=20.0))[ROW, :, 0]
    peak = 4 * 4 / (np.pi * 60)
    middle = picture[COLUMN - 3 : COLUMN + 3].mean()
    assert middle == pytest.approx(0.8 - peak * (0.8 - 0.1), abs=0.006)


@pytest.mark.parametrize("rims", [(0.6, 0.0), (0.3, 0.3)])
def test_the_rims_of_the_lens_turn_corner_discs_into_lenses(rims: tuple[float, float]) -> None:
    layer = _flat(0.0)
    layer.color[MARGIN + 30, MARGIN + 30] = 1000.0
    camera = Camera(focus_distance_m=6.0, cat_eye=rims, blur_disc_px={"back": 40.0})
    light = render(_scene(layer), camera)[..., 0].astype(np.float64)
    y, x = np.mgrid[: SIZE[1], : SIZE[0]]
    outward = np.array([30 - COLUMN, 30 - ROW]) / np.hypot(30 - COLUMN, 30 - ROW)
    along = (x - 30) * outward[0] + (y - 30) * outward[1]
    aside = (y - 30) * outward[0] - (x - 30) * outward[1]
    means = [(a * light).sum() / light.sum() for a in (along, aside)]
    spread = [
        np.sqrt((np.square(a - mean) * light).sum() / light.sum())
        for a, mean in zip((along, aside), means, strict=True)
    ]
    assert 0.45 < spread[0] / spread[1] < 0.85
    # One rim pushes the disc's middle aside, by half of what it covers; two leave it.
    outwards = np.hypot(30 - COLUMN, 30 - ROW) / (np.hypot(*SIZE) / 2)
    assert abs(means[0]) == pytest.approx((rims[0] - rims[1]) * outwards * 40 / 2, abs=1.0)
    assert abs(means[1]) < 0.5


def test_the_same_seed_gives_the_same_frame() -> None:
    scene, camera = _scene(_with_point(1000.0)), _camera(back=50.0)
    np.testing.assert_array_equal(render(scene, camera, seed=3), render(scene, camera, seed=3))


def test_layers_must_come_back_to_front() -> None:
    with pytest.raises(InputError, match="from back to front"):
        _scene(_flat(0.5, 2.0, "a"), _flat(0.5, 9.0, "b"))


def test_layers_must_share_the_canvas() -> None:
    with pytest.raises(InputError, match="canvas"):
        Scene((_flat(0.5),), (100, 100), MARGIN, "test")
