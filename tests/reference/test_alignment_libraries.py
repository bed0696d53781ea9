"""Alignment against other libraries: their pictures, their warps, their registrations."""

from pathlib import Path

import cv2
import numpy as np
import pytest
from scipy import ndimage
from skimage import data, transform
from skimage.registration import phase_cross_correlation

from blendkit.alignment import models
from blendkit.alignment.estimate import align
from blendkit.alignment.warp import warp_to_background
from blendkit.errors import AlignmentError
from blendkit.frame import Float, Matrix, luminance
from blendkit.settings import AlignmentSettings

SETTINGS = AlignmentSettings()
OPENCV_DOC = Path("/usr/share/doc/opencv-doc/examples/data")
needs_opencv_doc = pytest.mark.skipif(
    not (OPENCV_DOC / "graf1.png").exists(),
    reason="pictures of the Debian package opencv-doc are not installed (apt-get install it)",
)


def _linear(encoded: np.ndarray) -> Float:
    return ((encoded.astype(np.float32) / 255) ** 2.2).astype(np.float32)


def _noisy(picture: Float, seed: int) -> Float:
    noise = np.random.default_rng(seed).normal(0, 0.004, picture.shape)
    return np.clip(picture + noise, 0, 1).astype(np.float32)


def _pair(name: str, warp: Matrix) -> tuple[Float, Float]:
    """Return a picture of scikit-image and the same resampled by it (order 5), noise in both."""
    here = _linear(getattr(data, name)())
    there = transform.warp(here, np.linalg.inv(warp), order=5, mode="reflect")
    return _noisy(here, 1), _noisy(there * 0.8, 2)


def _about_centre(size: tuple[int, int], inner: Matrix) -> Matrix:
    to_centre = np.eye(3)
    to_centre[:2, 2] = -(np.array(size) - 1) / 2
    return np.linalg.inv(to_centre) @ inner @ to_centre


SIMILARITY = np.array([[1.015, -0.012, 8.3], [0.012, 1.015, -5.6], [0, 0, 1]])
AFFINE = np.array([[1.02, -0.004, 6.2], [0.010, 0.995, -4.4], [0, 0, 1]])
HOMOGRAPHY = np.array([[1.01, -0.006, 6.2], [0.006, 1.01, -4.4], [4e-5, -3e-5, 1]])


@pytest.mark.parametrize("name", ["astronaut", "coffee", "chelsea", "rocket"])
def test_similarity_of_scikit_image_comes_back(name: str) -> None:
    height, width = getattr(data, name)().shape[:2]
    warp = _about_centre((width, height), SIMILARITY)
    found = align(*_pair(name, warp), SETTINGS)
    error = models.grid_distance_px(found.matrix, warp, (width, height))
    assert 1e-4 < error < 0.06
    assert found.confidence > 0.9


@pytest.mark.parametrize(("model", "inner"), [("affine", AFFINE), ("homography", HOMOGRAPHY)])
def test_richer_motion_is_seen_in_a_picture_sharp_all_over(model: str, inner: Matrix) -> None:
    warp = _about_centre((600, 400), inner)
    found = align(*_pair("coffee", warp), SETTINGS)
    assert found.model == model
    assert 1e-4 < models.grid_distance_px(found.matrix, warp, (600, 400)) < 0.1


def test_translation_agrees_with_upsampled_correlation() -> None:
    # Guizar-Sicairos et al. 2008; a shift in Fourier space (scipy) is exact for a periodic picture.
    here = _linear(data.astronaut())
    here = np.asarray(ndimage.gaussian_filter(here, (1, 1, 0)), np.float32)
    wanted = np.array([4.35, -2.6])
    spectrum = np.fft.fftn(here, axes=(0, 1))
    turned = ndimage.fourier_shift(np.moveaxis(spectrum, 2, 0)[0], wanted)
    there = np.repeat(np.fft.ifft2(turned).real[..., None], 3, axis=2).astype(np.float32)
    here = np.repeat(here[..., :1], 3, axis=2)
    (down, right), *_ = phase_cross_correlation(there[..., 0], here[..., 0], upsample_factor=50)
    found = align(here, there, AlignmentSettings(model="translation"))
    ours = found.matrix[:2, 2]
    assert np.hypot(ours[0] - right, ours[1] - down) < 0.05
    assert np.hypot(ours[0] - wanted[1], ours[1] - wanted[0]) < 0.03


def test_resampling_agrees_with_scipy() -> None:
    picture = ndimage.gaussian_filter(_linear(data.coffee()), (2, 2, 0))
    warp = _about_centre((600, 400), SIMILARITY)
    ours = warp_to_background(picture, warp, (600, 400))
    rows, columns = np.indices((400, 600))
    there = models.apply(warp, np.column_stack([columns.ravel(), rows.ravel()]))
    wanted = ndimage.map_coordinates(picture[..., 1], there.T[::-1], order=3).reshape(400, 600)
    gap = np.abs(ours.pixels[..., 1] - wanted)[ours.footprint]
    assert 1e-7 < gap.max() < 0.01


@needs_opencv_doc
def test_a_share_of_the_published_graffiti_homography_comes_back() -> None:
    # H1to3p.xml, Mikolajczyk & Schmid 2005, as Debian's opencv-doc carries it.
    published = cv2.FileStorage(str(OPENCV_DOC / "H1to3p.xml"), cv2.FILE_STORAGE_READ)
    full = np.asarray(published.getFirstTopLevelNode().mat(), np.float64)
    picture = _linear(cv2.imread(str(OPENCV_DOC / "graf1.png")))
    size = (picture.shape[1], picture.shape[0])
    # A pair never turns by 40 degrees: take 4 % of the way from the identity, and no more.
    warp = np.eye(3) + 0.04 * (full / full[2, 2] - np.eye(3))
    there = cv2.warpPerspective(picture, warp, size, flags=cv2.INTER_LANCZOS4)
    settings = AlignmentSettings(model="homography")
    found = align(_noisy(picture, 1), _noisy(there, 2), settings)
    assert 1e-4 < models.grid_distance_px(found.matrix, warp, size) < 0.15


@needs_opencv_doc
def test_the_graffiti_pair_itself_is_refused() -> None:
    one, three = (_linear(cv2.imread(str(OPENCV_DOC / f"graf{k}.png"))) for k in (1, 3))
    # 40 degrees of viewpoint are far outside what a pair brings: never a wrong fit reported good.
    with pytest.raises(AlignmentError, match="--tie"):
        align(one, three, AlignmentSettings(model="homography"))


@needs_opencv_doc
def test_tie_points_bring_the_graffiti_pair_home() -> None:
    published = cv2.FileStorage(str(OPENCV_DOC / "H1to3p.xml"), cv2.FILE_STORAGE_READ)
    full = np.asarray(published.getFirstTopLevelNode().mat(), np.float64)
    one, three = (_linear(cv2.imread(str(OPENCV_DOC / f"graf{k}.png"))) for k in (1, 3))
    here = np.array([[120, 100], [620, 110], [150, 520], [600, 540], [400, 300]], float)
    there = models.apply(full, here) + np.random.default_rng(1).normal(0, 0.5, here.shape)
    ties = [((a, b), (c, d)) for (a, b), (c, d) in zip(here, there, strict=True)]
    found = align(one, three, AlignmentSettings(model="homography"), ties=ties)
    size = (one.shape[1], one.shape[0])
    assert models.grid_distance_px(found.matrix, full, size) < 3


@needs_opencv_doc
def test_two_views_of_one_street_are_refused() -> None:
    # leuvenA and leuvenB as Debian packs them: one street from two places, hardly a third shared.
    a, b = (_linear(cv2.imread(str(OPENCV_DOC / f"leuven{k}.jpg"))) for k in "AB")
    with pytest.raises(AlignmentError, match="--tie"):
        align(a, b, SETTINGS)


@needs_opencv_doc
def test_a_street_under_another_light_agrees_with_enhanced_correlation() -> None:
    # ECC of OpenCV (Evangelidis & Psarakis 2008) on a sharp pair, where it does well.
    here = _linear(cv2.imread(str(OPENCV_DOC / "leuvenA.jpg")))
    size = (here.shape[1], here.shape[0])
    wanted = _about_centre(size, SIMILARITY)
    there = cv2.warpPerspective(here, wanted, size, flags=cv2.INTER_LANCZOS4) * 0.3
    found = align(_noisy(here, 1), _noisy(there, 2), SETTINGS)
    start = np.array([[1, 0, 8.3], [0, 1, -5.6]], np.float32)
    criteria = (cv2.TERM_CRITERIA_EPS | cv2.TERM_CRITERIA_COUNT, 200, 1e-7)
    _, warp = cv2.findTransformECC(
        luminance(here), luminance(there), start, cv2.MOTION_AFFINE, criteria, None, 3
    )
    other = np.vstack([np.asarray(warp, np.float64), [0.0, 0.0, 1.0]])
    assert models.grid_distance_px(found.matrix, other, size) < 0.1
    assert 1e-4 < models.grid_distance_px(found.matrix, wanted, size) < 0.05
