"""What the sensor sees of layered depth: every point of the aperture, composited, then averaged.

Each point of the aperture is a pinhole camera of its own.  Its picture is all layers, shifted by
their parallax as seen from that point and laid over each other, so occlusion is exact: a bright
point behind a blurred twig is hidden from a part of the aperture only.  Between the points each
layer is blurred by the small disc that one point stands for.
"""

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass

import cv2
import numpy as np

from blendkit.frame import Float, Matrix
from blendkit.simulate.camera import MAX_SAMPLES, Camera, translation
from blendkit.simulate.pupil import (
    Offsets,
    Points,
    disc_kernel,
    pupil_points,
    rings_for,
    whole_offsets,
)
from blendkit.simulate.scene import Layer, Role, Scene
from blendkit.simulate.sensor import lit

Moves = Mapping[str, tuple[float, float]]

_STILL_BELOW_PX = 3.0
_SPACING_PX = 5.0
_STRIP_VALUES = 150_000


@dataclass(frozen=True, eq=False, slots=True)
class _Plane:
    """A layer laid on the frame's grid with pad_px around it, ready to be shifted.

    light is premultiplied, hidden = 1 - coverage; both (rows, columns, channels).  box is the rows
    and columns outside which the layer is empty; opaque layers hide all that lies behind them.
    """

    light: Float
    hidden: Float
    pad_px: int
    offsets: Offsets
    box: tuple[int, int, int, int]
    opaque: bool


def render(
    scene: Scene,
    camera: Camera,
    *,
    moves: Moves | None = None,
    without: Collection[Role] = (),
    seed: int = 0,
) -> Float:
    """Return the noise-free frame, float32 (height, width, 3), linear, not clipped.

    Parameters
    ----------
    moves : layer name to (x, y) px that the layer has moved, by wind or sway.
    without : roles that are left out.
    seed : turns the rings of aperture points.
    """
    planes = scene.chosen(without=without)
    light = gather(scene, planes, camera, grid=camera.grid(scene.size), moves=moves, seed=seed)
    return lit(light, camera)


def gather(
    scene: Scene,
    layers: Sequence[Layer],
    camera: Camera,
    *,
    grid: Matrix,
    moves: Moves | None = None,
    coverage_only: bool = False,
    seed: int = 0,
) -> Float:
    """Return what the aperture gathers from some layers, before shake, fall-off and gain.

    grid maps the reference picture's px to the px of the result, 3x3.  With coverage_only the
    result is (height, width, 1): how much of the aperture the layers cover, 0 to 1.
    """
    points = _points(scene, camera, seed=seed)
    shifts = moves or {}
    planes = [
        _plane(
            scene,
            layer,
            camera,
            points=points,
            grid=grid,
            move=shifts.get(layer.name, (0.0, 0.0)),
            coverage_only=coverage_only,
        )
        for layer in layers
    ]
    channels = 1 if coverage_only else 3
    width, height = scene.size
    result = np.zeros((height, width, channels), np.float32)
    rows = max(8, _STRIP_VALUES // (width * channels))
    for top in range(0, height, rows):
        strip = result[top : top + rows]
        _gather_strip(strip, top, planes, _weights(points, camera, scene.size, top, len(strip)))
    return _diffracted(result, camera)


def _points(scene: Scene, camera: Camera, *, seed: int) -> Points:
    """Choose by the whole scene, so that leaving a layer out changes nothing elsewhere."""
    largest = max((abs(camera.signed_disc_px(layer)) for layer in scene.layers), default=0.0)
    if largest < _STILL_BELOW_PX:
        largest = 0.0
    samples = camera.samples or MAX_SAMPLES
    rings = rings_for(largest, spacing_px=_SPACING_PX, samples=samples)
    return pupil_points(rings, rng=np.random.default_rng(seed))


def _plane(
    scene: Scene,
    layer: Layer,
    camera: Camera,
    *,
    points: Points,
    grid: Matrix,
    move: tuple[float, float],
    coverage_only: bool,
) -> _Plane:
    disc = camera.signed_disc_px(layer) * float(np.sqrt(np.linalg.det(grid[:2, :2])))
    offsets, footprint = _spread(disc, points)
    pad = int(np.abs(offsets).max()) + 1
    shift = np.add(camera.parallax_px(layer.distance_m), move)
    place = translation(pad, pad) @ grid @ translation(*(shift - scene.margin_px))
    size = (scene.size[0] + 2 * pad, scene.size[1] + 2 * pad)
    coverage = _laid(layer.coverage, place, size, footprint)[..., None]
    np.clip(coverage, 0, 1, out=coverage)
    opaque = bool(coverage.min() > 1 - 1e-6)
    if coverage_only:
        return _Plane(coverage, 1 - coverage, pad, offsets, _box(coverage), opaque)
    light = _laid(layer.color * layer.coverage[..., None], place, size, footprint)
    hidden = np.repeat(1 - coverage, 3, axis=2)
    return _Plane(np.maximum(light, 0), hidden, pad, offsets, _box(coverage), opaque)


def _spread(disc_px: float, points: Points) -> tuple[Offsets, float]:
    """Return whole-px offsets and the disc that blurs the layer beforehand.

    Discs under 3 px are blurred beforehand only: rounding to whole px would misplace them.
    """
    if abs(disc_px) < _STILL_BELOW_PX or len(points) == 1:
        return np.zeros((len(points), 2), np.int64), abs(disc_px)
    rings = (np.sqrt(12 * len(points) - 3) - 3) / 6
    # Twice the spacing: neighbours overlap, so that a thin twig leaves no fan of copies.
    footprint = 2 * abs(disc_px) / (2 * rings + 1)
    return whole_offsets(points, disc_px, footprint), footprint


def _laid(picture: Float, place: Matrix, size: tuple[int, int], footprint_px: float) -> Float:
    """Resample once, onto a padded grid, then blur by the footprint."""
    whole = np.array_equal(place, np.rint(place)) and np.array_equal(place[:2, :2], np.eye(2))
    how = cv2.INTER_NEAREST if whole else cv2.INTER_LANCZOS4
    laid = cv2.warpAffine(picture, place[:2], size, flags=how, borderMode=cv2.BORDER_REFLECT_101)
    if footprint_px > 0.05:
        kernel = disc_kernel(footprint_px)
        laid = cv2.filter2D(laid, -1, kernel, borderType=cv2.BORDER_REFLECT_101)
    return np.asarray(laid, dtype=np.float32)


def _box(coverage: Float) -> tuple[int, int, int, int]:
    seen = coverage[..., 0] > 1e-4
    rows, columns = np.flatnonzero(seen.any(axis=1)), np.flatnonzero(seen.any(axis=0))
    if not len(rows):
        return 0, 0, 0, 0
    return int(rows[0]), int(rows[-1]) + 1, int(columns[0]), int(columns[-1]) + 1


def _gather_strip(
    strip: Float, top: int, planes: Sequence[_Plane], weights: Sequence[Float]
) -> None:
    """Average the pictures of all aperture points into one strip of rows, in place."""
    picture = np.empty_like(strip)
    count = len(planes[0].offsets) if planes else 0
    for index in range(count):
        picture[:] = 0
        for plane in planes:
            _lay_over(picture, top, plane, *plane.offsets[index])
        if weights:
            picture *= weights[index]
        strip += picture
    if count:
        strip /= sum(weights) if weights else count


def _lay_over(picture: Float, top: int, plane: _Plane, dx: int, dy: int) -> None:
    """Lay a shifted plane over a picture, only where the plane is not empty."""
    row0, column0 = top + plane.pad_px - dy, plane.pad_px - dx
    upper, lower, left, right = plane.box
    rows = slice(max(upper, row0), min(lower, row0 + picture.shape[0]))
    columns = slice(max(left, column0), min(right, column0 + picture.shape[1]))
    if rows.start >= rows.stop or columns.start >= columns.stop:
        return
    under = picture[
        rows.start - row0 : rows.stop - row0, columns.start - column0 : columns.stop - column0
    ]
    if plane.opaque:
        np.copyto(under, plane.light[rows, columns])
        return
    np.multiply(under, plane.hidden[rows, columns], out=under)
    np.add(under, plane.light[rows, columns], out=under)


def _weights(
    points: Points, camera: Camera, size: tuple[int, int], top: int, rows: int
) -> list[Float]:
    """Return, per aperture point, how much of it the rims of the lens leave open over a strip.

    A rim is one more circle of the pupil's size that slides over it towards the corners; the front
    and the rear one come from opposite sides.
    """
    if not any(camera.cat_eye) or len(points) == 1:
        return []
    width, height = size
    half_diagonal = np.hypot(width, height) / 2
    x = (np.arange(width) - (width - 1) / 2) / half_diagonal
    y = (np.arange(top, top + rows) - (height - 1) / 2) / half_diagonal
    soft = 2.0 / np.sqrt(len(points))
    found = []
    for px, py in points:
        open_part = np.ones((rows, width))
        for covered in (camera.cat_eye[0], -camera.cat_eye[1]):
            distance = np.hypot(covered * x[None, :] + px, covered * y[:, None] + py)
            open_part *= np.clip((0.5 - distance) / soft + 0.5, 0.0, 1.0) if covered else 1
        found.append(open_part[..., None].astype(np.float32))
    return found


def _diffracted(light: Float, camera: Camera) -> Float:
    """Blur by the Gaussian closest to the Airy pattern, sigma 0.42 lambda N (lambda 550 nm)."""
    sigma = 0.42 * 550e-6 * camera.f_number / camera.pixel_pitch_mm
    if sigma < 0.15:
        return light
    return cv2.GaussianBlur(light, (0, 0), sigma).reshape(light.shape).astype(np.float32)
